"""A whole twin: its board on pseudo-terminals and TCP, its addresses, its truth."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import numpy as np
import pytest
import serial
from simulated_benches import PERFECT, fixture_setup

from harness.descriptions.setup import Setup
from harness.errors import DescriptionError, MisuseError
from harness.observation import Quantity
from harness.protocols.frame_decoder import decoder_for
from harness.protocols.frame_events import GoodFrame
from harness.simulator.faults import Bleed, Faults, LinkFault
from harness.simulator.settings import TwinSettings
from harness.simulator.twin import Twin
from harness.timebase import ScaledClock

SPEED = 50.0


def running_twin(board: str = "heron", **planted: object) -> Twin:
    faults = Faults(**({"spread": PERFECT} | planted))  # type: ignore[arg-type]
    return Twin(TwinSettings(fixture_setup(board=board), faults, 1, ScaledClock(SPEED)))


@pytest.fixture(scope="module")
def twin() -> Iterator[Twin]:
    with running_twin() as made:
        yield made


def frames_at(path: str, setup: Setup, count: int) -> list[GoodFrame]:
    """Good frames read from a serial port."""
    decoder, found = decoder_for(setup.board.frame), []
    with serial.serial_for_url(path, timeout=1) as port:
        while len(found) < count:
            data = port.read(port.in_waiting or 1)
            assert data, "the board fell silent"
            found += [e for e in decoder.receive(data) if isinstance(e, GoodFrame)]
    return found


@pytest.mark.parametrize("board", ["heron", "heron-json", "heron-key-value", "heron-binary"])
def test_frames_decode_in_every_layout(board: str) -> None:
    """Consecutive numbers; everything off reads zero, thermistors open."""
    with running_twin(board) as made:
        setup = made.attach(fixture_setup(board=board))
        found = frames_at(setup.board.serial.port, setup, 5)
    numbers = [frame.sequence for frame in found]
    assert list(range(numbers[0] or 0, (numbers[0] or 0) + 5)) == numbers[:5]
    columns = decoder_for(setup.board.frame).columns
    values = dict(zip(columns, found[-1].values, strict=True))
    assert values[Quantity.CELL_VOLTAGE, 5] == 0.0
    assert values[Quantity.THERMISTOR_OPEN, 1] == 1.0


def test_both_loop_ends_carry_the_same_frames(twin: Twin) -> None:
    """The same bytes at the same time on both pseudo-terminals."""
    first, second = (serial.Serial(path, timeout=1) for path in twin.addresses.board_paths)
    with first, second:
        heard = [port.read(500).split(b"\r\n")[1:-1] for port in (first, second)]
    common = set(heard[0]) & set(heard[1])
    assert len(common) >= min(map(len, heard)) - 2 > 0


def test_tcp_carries_the_board_too(twin: Twin) -> None:
    """At a pyserial URL, for computers without pseudo-terminals."""
    found = frames_at(twin.addresses.board_url, fixture_setup(), 3)
    assert found[-1].sequence is not None


def test_attached_setup_points_at_the_twin(twin: Twin) -> None:
    """Every resource and the serial port are the twin's; nothing else changes."""
    setup = fixture_setup()
    attached = twin.attach(setup)
    for name, entry in attached.bench.instruments.items():
        host, port = entry.resource.split("::")[1:3]
        assert twin.addresses.resources[name] == entry.resource
        socket.create_connection((host, int(port)), timeout=1).close()
    assert twin.addresses.board_paths[0] == attached.board.serial.port
    assert setup.bench.wiring == attached.bench.wiring


def test_truth_of_a_twin_at_rest(twin: Twin) -> None:
    """Nothing at the pins, nothing on, nothing ever happened."""
    assert pytest.approx(np.zeros(13), abs=1e-9) == twin.truth.pin_volts()
    summary = twin.truth.summary()
    assert ((), (), 0) == (summary.outputs_on, summary.trips, summary.relay_movements)
    assert summary.frames_sent > 0


def test_a_fault_without_a_place_stops_the_start() -> None:
    """Cell 13 of twelve."""
    twin = running_twin(bleed=(Bleed(cell=13),))
    with pytest.raises(DescriptionError, match=r"bleed\.cell"):
        twin.start()


def test_a_twin_that_is_not_started_has_no_addresses() -> None:
    """It says so."""
    twin = running_twin()
    with pytest.raises(MisuseError, match="expected to be started"):
        _ = twin.addresses
    twin.stop()


@pytest.mark.parametrize("board", ["heron"])
def test_silence_counts_from_the_first_output(board: str) -> None:
    """Before an output goes on the board talks, whatever is planted; then it falls silent."""
    with running_twin(board, link=LinkFault(silent_after_seconds=0.0)) as made:
        setup = made.attach(fixture_setup())
        assert frames_at(setup.board.serial.port, setup, 2)

        def switch_on() -> None:
            made.core.plant.advance(made.core.settings.clock.now())
            made.core.plant.switch_output(0, True)

        made.ask(switch_on)
        sent = made.truth.summary().frames_sent
        with serial.Serial(setup.board.serial.port, timeout=0.1) as port:
            assert port.read(1) == b""
        assert made.truth.summary().frames_sent <= sent + 1
