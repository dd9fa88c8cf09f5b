"""Where a twin can be reached, and a setup that points there."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

from harness.descriptions.setup import Setup


@dataclass(frozen=True)
class Addresses:
    """VISA resource by instrument, and the serial ports of the board.

    board_paths : the loop's two ends as pseudo-terminals, empty where there are none;
    board_url : the same frames on TCP, as a pyserial URL.
    """

    resources: Mapping[str, str]
    board_paths: tuple[str, ...]
    board_url: str

    @property
    def board_port(self) -> str:
        """The pseudo-terminal of the first loop end, or the URL where there are none."""
        return self.board_paths[0] if self.board_paths else self.board_url


def attached(setup: Setup, addresses: Addresses) -> Setup:
    """`setup` with its resources and serial port replaced by a twin's."""
    instruments = {
        name: dataclasses.replace(entry, resource=addresses.resources[name])
        for name, entry in setup.bench.instruments.items()
    }
    serial = dataclasses.replace(setup.board.serial, port=addresses.board_port)
    return dataclasses.replace(
        setup,
        bench=dataclasses.replace(
            setup.bench,
            instruments=instruments,
            # The twin listens on plain sockets, which the pure Python implementation speaks.
            visa=dataclasses.replace(setup.bench.visa, library="@py"),
        ),
        board=dataclasses.replace(setup.board, serial=serial),
    )
