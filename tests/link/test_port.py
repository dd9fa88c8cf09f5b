"""Ports over pseudo-terminals, pyserial URLs and sockets, with nothing but events to wait on."""

from __future__ import annotations

import os
import socket
import sys
import termios
import threading
from collections.abc import Iterator

import pytest

from harness.descriptions.board import FrameField, SerialPort, TextFrame
from harness.link.board_link import BoardLink
from harness.link.faults import BoardMissing, BoardUnplugged
from harness.link.port import OpenPort
from harness.timebase import RealClock

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


class Terminal:
    """A pseudo-terminal pair; `master` is the board's side."""

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        self.name = os.ttyname(self.slave)

    def unplug(self) -> None:
        if self.master >= 0:
            os.close(self.master)
            self.master = -1

    def close(self) -> None:
        self.unplug()
        os.close(self.slave)


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    pair = Terminal()
    yield pair
    pair.close()


@pytest.fixture
def port(terminal: Terminal) -> Iterator[OpenPort]:
    opened = OpenPort(SerialPort(port=terminal.name))
    yield opened
    opened.close()


def test_reads_all_there_is_in_one_go(terminal, port):
    """Not a byte at a time."""
    os.write(terminal.master, b"x" * 1000)
    assert 1000 == len(port.read(5.0))


def test_time_out_gives_nothing(port):
    """An empty read is no fault."""
    assert b"" == port.read(0.0)


def test_wake_ends_a_waiting_read(port):
    """The reader of a minute's patience comes back at once."""
    done = threading.Event()
    reader = threading.Thread(target=lambda: (port.read(60.0), done.set()))
    reader.start()
    port.wake()
    assert done.wait(10.0)
    reader.join()


def test_unplugging_is_told(terminal, port):
    """EIO, or ready to read without data, by platform."""
    terminal.unplug()
    with pytest.raises(BoardUnplugged) as caught:
        port.read(5.0)
    assert str(caught.value).startswith(f"board ({terminal.name}): expected an open port, got ")
    assert str(caught.value).endswith(
        "; plug the board in again and see that no other program uses the port"
    )


def test_reading_a_closed_port_is_told(terminal, port):
    """No TypeError from inside pyserial."""
    port.close()
    port.close()
    with pytest.raises(BoardUnplugged):
        port.read(0.0)


def test_port_is_held_alone(terminal, port):
    """A second program is told."""
    with pytest.raises(BoardMissing) as caught:
        OpenPort(SerialPort(port=terminal.name))
    assert str(caught.value).startswith(f"board ({terminal.name}): expected a serial port, got ")


@pytest.mark.parametrize("name", ["/dev/no-such-port", "nonsense://x", "socket://127.0.0.1:1"])
def test_port_that_cannot_be_opened_is_told(name):
    """Wrong path, unknown kind of URL, nobody listening."""
    with pytest.raises(BoardMissing) as caught:
        OpenPort(SerialPort(port=name))
    assert str(caught.value).startswith(f"board ({name}): expected a serial port, got ")
    assert str(caught.value).endswith(
        "; check that the board is plugged in, that serial.port names it, that you may use it, "
        "and that no other program has it"
    )


def test_line_settings_reach_the_terminal(terminal):
    """Baud and stop bits of the description; a pseudo-terminal itself knows no parity."""
    settings = SerialPort(port=terminal.name, baud=9600, parity="even", stop_bits=2)
    opened = OpenPort(settings)
    attributes = termios.tcgetattr(terminal.slave)
    parity = opened._serial.parity
    opened.close()
    assert (termios.B9600, termios.CSTOPB, "E") == (
        attributes[5],
        attributes[2] & termios.CSTOPB,
        parity,
    )


@pytest.mark.parametrize(
    ("modem_lines", "expected"), [("leave", []), ("off", ["dtr", "rts"]), ("on", ["dtr", "rts"])]
)
def test_modem_lines_are_left_alone_on_request(terminal, monkeypatch, modem_lines, expected):
    """Some boards restart when DTR moves."""
    import serial

    moved: list[str] = []
    monkeypatch.setattr(serial.Serial, "_update_dtr_state", lambda self: moved.append("dtr"))
    monkeypatch.setattr(serial.Serial, "_update_rts_state", lambda self: moved.append("rts"))
    OpenPort(SerialPort(port=terminal.name, modem_lines=modem_lines)).close()
    assert expected == moved


def test_leaving_modem_lines_keeps_them_on_closing(terminal):
    """HUPCL would drop DTR at the end, and the next opening would restart the board."""
    OpenPort(SerialPort(port=terminal.name, modem_lines="leave")).close()
    assert 0 == termios.tcgetattr(terminal.slave)[2] & termios.HUPCL


def test_network_ports_are_read_in_bulk():
    """socket:// counts at most one byte waiting; its socket is read directly."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        opened = OpenPort(SerialPort(port=f"socket://127.0.0.1:{listener.getsockname()[1]}"))
        board, _ = listener.accept()
        with board:
            board.sendall(b"y" * 500)
            assert 500 == len(opened.read(5.0))
        with pytest.raises(BoardUnplugged):
            opened.read(5.0)
        opened.close()


def test_ports_without_a_descriptor_are_read_through_pyserial():
    """loop:// has none; what is waiting is taken, or one byte waited for."""
    opened = OpenPort(SerialPort(port="loop://"))
    opened._serial.write(b"abc")
    assert b"abc" == opened.read(1.0)
    assert b"" == opened.read(0.01)
    opened.wake()
    opened.close()


def test_a_whole_link_over_a_terminal(terminal):
    """Port, thread and decoder together; unplugging ends it with its own error."""
    layout = TextFrame(
        form="csv",
        fields=(FrameField(quantity="cell_voltage", channels=(1, 2), scale=0.001),),
        start=">",
    )
    link = BoardLink(SerialPort(port=terminal.name), layout, 5.0, RealClock())
    os.write(terminal.master, b"rest of a line\n>3300,3301\n>3302,3303\n")
    frames = link.wait_for_frames(2, after=0.0)
    assert [(3.3, 3.301), (3.302, 3.303)] == [pytest.approx(t.frame.values) for t in frames]
    terminal.unplug()
    with pytest.raises(BoardUnplugged):
        link.wait_for_frames(3, after=0.0)
    link.close()
