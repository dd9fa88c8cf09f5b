"""The pseudo-terminal: whole frames or none, never a wait."""

from __future__ import annotations

import os

import pytest
import serial

from harness.simulator.board_port import PtyPort

FRAME = bytes(b for b in range(256) if b != 10) + b"\n"


@pytest.fixture
def port():  # type: ignore[no-untyped-def]
    made = PtyPort()
    yield made
    made.close()


def test_bytes_pass_unchanged(port: PtyPort) -> None:
    """Raw mode on both ends: control characters, XON and XOFF are bytes like others."""
    with serial.Serial(port.path, timeout=1) as reader:
        assert port.send(FRAME)
        assert reader.read(len(FRAME)) == FRAME


def test_nobody_reading_drops_whole_frames(port: PtyPort) -> None:
    """The terminal's buffer fills and sending returns at once; what is there is whole."""
    with serial.Serial(port.path, timeout=0.2) as reader:
        results = [port.send(FRAME) for _ in range(2000)]
        assert results[0]
        assert not results[-1]
        data = b""
        while len(data) < 30_000 and (part := reader.read(reader.in_waiting or 1)):
            data += part
            port.send(FRAME)
    whole = data[: len(data) // len(FRAME) * len(FRAME)]
    assert set(whole.split(b"\n")) == {FRAME[:-1], b""}


def test_closing_is_unplugging(port: PtyPort) -> None:
    """A reader that has it open gets an error, and sending afterwards does nothing."""
    with serial.Serial(port.path, timeout=1) as reader:
        port.close()
        with pytest.raises((serial.SerialException, OSError)):
            reader.read(1)
    assert not port.send(FRAME)
    assert not os.path.exists(port.path)


def test_what_a_program_writes_is_thrown_away(port: PtyPort) -> None:
    """More than a terminal's buffer can be written while the board talks."""
    with serial.Serial(port.path, timeout=1, write_timeout=1) as program:
        for _ in range(20):
            program.write(b"x" * 1000)
            assert port.send(FRAME)
            assert program.read(len(FRAME)) == FRAME
