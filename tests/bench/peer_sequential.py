"""The peer: what a plain script does with the same instruments and the same board.

Sequential pyvisa and pyserial, fixed 0.5 s of settling, `readline()`, ten averaged readings of
each. It is the yardstick of `bench_speed.py` and is deliberately ordinary: no overlap, no
adaptive settling, no budget. It assumes the default command forms of the generic models and
Heron's CSV layout, as such a script would.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Sequence
from dataclasses import dataclass

import pyvisa
import serial

SETTLING_SECONDS = 0.5
READINGS = 10


@dataclass(frozen=True)
class PeerReading:
    """Ten readings of one cell at one point, volts; `visit` counts points from 0."""

    visit: int
    nominal: float
    cell: int
    reference: tuple[float, ...]
    board: tuple[float, ...]

    @property
    def error(self) -> float:
        """Mean board reading less mean reference reading, volts."""
        return statistics.fmean(self.board) - statistics.fmean(self.reference)


def measure(
    supply_resource: str,
    meter_resource: str,
    switch_resource: str,
    board_port: str,
    relays: Sequence[str],
    points: Sequence[float],
    first_field: int,
    volts_per_count: float,
) -> tuple[list[PeerReading], float]:
    """Measure every cell at every point; returns the readings and the seconds it took.

    Parameters
    ----------
    relays : relay number by cell; points : volts per cell.
    first_field : index of cell 1 in the comma-separated line, after its start character.
    """
    manager = pyvisa.ResourceManager("@py")

    def open_one(resource: str) -> pyvisa.resources.MessageBasedResource:
        found = manager.open_resource(
            resource, read_termination="\n", write_termination="\n", timeout=5000
        )
        assert isinstance(found, pyvisa.resources.MessageBasedResource)
        return found

    supply, meter, switch = map(open_one, (supply_resource, meter_resource, switch_resource))
    board = serial.serial_for_url(board_port, baudrate=115200, timeout=2)
    found: list[PeerReading] = []
    cells = range(1, len(relays) + 1)
    for cell in cells:
        supply.write(f"INST:NSEL {cell};:CURR 0.1;:VOLT:PROT 4.5;:VOLT 0;:OUTP ON")
    meter.write("CONF:VOLT:DC 10;:VOLT:DC:NPLC 1;:SAMP:COUN 1")
    began = time.monotonic()
    for visit, nominal in enumerate(points):
        for cell in cells:
            supply.write(f"INST:NSEL {cell}")
            supply.write(f"VOLT {nominal}")
        time.sleep(SETTLING_SECONDS)
        reference = {}
        for cell, relay in zip(cells, relays, strict=True):
            switch.query("ROUT:OPEN:ALL;*OPC?")
            switch.query(f"ROUT:CLOS (@{relay});*OPC?")
            reference[cell] = tuple(float(meter.query("READ?")) for _ in range(READINGS))
        board.reset_input_buffer()
        board.readline()
        lines = [board.readline().decode("ascii").split(",") for _ in range(READINGS)]
        for cell in cells:
            counts = [int(line[first_field + cell - 1]) for line in lines]
            found.append(
                PeerReading(
                    visit,
                    nominal,
                    cell,
                    reference[cell],
                    tuple(count * volts_per_count for count in counts),
                )
            )
    taken = time.monotonic() - began
    for cell in cells:
        supply.write(f"INST:NSEL {cell};:VOLT 0;:OUTP OFF")
    board.close()
    for session in (supply, meter, switch):
        session.close()
    manager.close()
    return found, taken
