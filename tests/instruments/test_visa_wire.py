"""pyvisa-py against a small server on loopback that misbehaves on request."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator

import pytest
import pyvisa
from pyvisa.constants import StatusCode

from harness.descriptions.instrument import Dialogue
from harness.instruments.faults import ConnectionLost, InstrumentMissing, InstrumentSilent
from harness.instruments.transport import Transport
from harness.instruments.visa_wire import SocketWire, VisaWire, open_wire, resource_name
from harness.instruments.wire import WireClosed, WireTimeout
from harness.timebase import RealClock

Behaviour = Callable[[socket.socket, str], None]


class Server:
    """Answers each line by a behaviour; one thread a connection, all ended by `close`."""

    def __init__(self, behaviour: Behaviour) -> None:
        self._behaviour = behaviour
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._connections: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._accept)]
        self._threads[0].start()
        self.received: list[str] = []
        self.resource = f"TCPIP::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            self._connections.append(connection)
            self._threads.append(threading.Thread(target=self._serve, args=(connection,)))
            self._threads[-1].start()

    def _serve(self, connection: socket.socket) -> None:
        with connection, connection.makefile("r", encoding="latin-1") as lines:
            for line in lines:
                self.received.append(line.strip())
                try:
                    self._behaviour(connection, line.strip())
                except OSError:
                    return

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for connection in self._connections:
            try:
                connection.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass
        for thread in self._threads:
            thread.join()


@pytest.fixture
def serve() -> Iterator[Callable[[Behaviour], Server]]:
    made: list[Server] = []

    def start(behaviour: Behaviour) -> Server:
        made.append(Server(behaviour))
        return made[-1]

    yield start
    for server in made:
        server.close()


def answer(connection: socket.socket, line: str) -> None:
    """A sound instrument: *IDN? and *OPC? as ever, other queries echoed."""
    replies = {"*IDN?": "a,b,c,d", "*OPC?": "1", "SYST:ERR?": '0,"No error"'}
    if line.endswith("?"):
        connection.sendall((replies.get(line, line) + "\r\n").encode())


def closed_port() -> str:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"


@pytest.fixture
def wired() -> Iterator[Callable[[str], SocketWire]]:
    made: list[SocketWire] = []

    def connect(resource: str) -> SocketWire:
        wire = open_wire(resource, Dialogue())
        assert isinstance(wire, SocketWire)
        made.append(wire)
        return wire

    yield connect
    for wire in made:
        wire.close()


def test_line_comes_without_its_end_whatever_its_form(serve, wired):
    """A CRLF answer to a dialogue that declares LF raises no warning and loses nothing."""
    wire = wired(serve(answer).resource)
    wire.send(b"*IDN?")
    assert b"a,b,c,d\r" == wire.receive(2.0)


def test_nodelay_is_on(serve, wired):
    """Without it two writes in a row cost 44 ms."""
    wire = wired(serve(answer).resource)
    assert 1 == wire._socket.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_far_end_that_closes_is_told_at_once(serve, wired):
    """pyvisa-py alone would spin until the time-out and then call it one."""
    wire = wired(serve(lambda connection, _: connection.shutdown(socket.SHUT_RDWR)).resource)
    wire.send(b"READ?")
    began = time.monotonic()
    with pytest.raises(WireClosed, match="closed by the instrument"):
        wire.receive(30.0)
    assert time.monotonic() - began < 5.0


def test_half_an_answer_is_handed_over_with_the_timeout(serve, wired):
    """What came is worth telling."""
    wire = wired(serve(lambda connection, _: connection.sendall(b"1.23")).resource)
    wire.send(b"READ?")
    with pytest.raises(WireTimeout) as caught:
        wire.receive(0.2)
    assert b"1.23" == caught.value.partial


def test_two_answers_in_one_packet_come_one_by_one(serve, wired):
    """What is behind the first line stays for the next read, and can be seen and dropped."""
    wire = wired(serve(lambda connection, _: connection.sendall(b"one\ntwo\nthree\n")).resource)
    wire.send(b"READ?")
    assert b"one" == wire.receive(2.0)
    assert wire.has_input()
    assert b"two" == wire.receive(2.0)
    wire.drain()
    assert not wire.has_input()


def test_long_answers_come_whole(serve, wired):
    """A thousand readings take more than one packet."""
    text = ",".join("+3.70000000E+00" for _ in range(20_000)).encode()
    wire = wired(serve(lambda connection, _: connection.sendall(text + b"\n")).resource)
    wire.send(b"READ?")
    assert text == wire.receive(5.0)


def test_closed_port_is_told_at_opening():
    """Under pyvisa-py opening succeeds; the socket knows better."""
    resource = closed_port()
    with pytest.raises(InstrumentMissing) as caught:
        open_wire(resource, Dialogue(), name="meter")
    assert str(caught.value) == (
        f"meter ({resource}): opening: expected an instrument there, got [Errno 111] Connection "
        "refused; check power, cable and the resource in the bench file"
    )


@pytest.mark.parametrize(
    ("resource", "hint"),
    [
        ("TCPIP::[::1]::5025::SOCKET", "the resource in the bench file"),
        ("nonsense", "the resource in the bench file"),
        ("/dev/no-such-port", "in the group that owns the port, often dialout"),
        ("USB0::1::2::none::INSTR", "a udev rule must let you use the USB device"),
    ],
)
def test_resource_that_cannot_be_opened_is_told(resource, hint):
    """Including IPv6 literals, which pyvisa cannot parse."""
    with pytest.raises(InstrumentMissing) as caught:
        open_wire(resource, Dialogue(), name="meter")
    start = f"meter ({resource}): opening: expected an instrument there, got "
    assert (start, True) == (str(caught.value)[: len(start)], str(caught.value).endswith(hint))


def test_unknown_visa_library_is_told():
    """A library that is not installed is a missing instrument, by its reason."""
    with pytest.raises(InstrumentMissing, match=r"expected an instrument there, got .*libvisa"):
        open_wire("TCPIP::127.0.0.1::5025::SOCKET", Dialogue(), "/nowhere/libvisa.so")


def test_use_after_close_is_told(serve, wired):
    """Not an AttributeError from inside."""
    wire = wired(serve(answer).resource)
    wire.close()
    with pytest.raises(WireClosed, match="closed here"):
        wire.send(b"*IDN?")


def test_plain_visa_wire_speaks_too(serve):
    """The form used for USB, GPIB and other VISA libraries, here over the same server."""
    wire = VisaWire(serve(answer).resource, Dialogue(), "@py")
    wire.send(b"*IDN?")
    assert b"a,b,c,d\r\n" == wire.receive(2.0)
    wire.drain()
    assert not wire.has_input()
    wire.close()


def test_plain_visa_wire_maps_timeout_and_loss(serve):
    """VISA's own codes become our kinds."""
    server = serve(lambda connection, line: None)
    wire = VisaWire(server.resource, Dialogue(), "@py")
    wire.send(b"*IDN?")
    with pytest.raises(WireTimeout):
        wire.receive(0.05)
    wire.close()
    with pytest.raises(WireClosed):
        wire.receive(0.05)


@pytest.mark.parametrize(
    ("raised", "expected"),
    [
        (BrokenPipeError(32, "Broken pipe"), r"\[Errno 32\] Broken pipe"),
        (ConnectionResetError(104, "Connection reset by peer"), "reset by peer"),
        (pyvisa.errors.VisaIOError(StatusCode.error_connection_lost), "VI_ERROR_CONN_LOST"),
        (pyvisa.errors.InvalidSession(), "the connection is closed here"),
        (ValueError("file descriptor cannot be a negative integer (-1)"), "file descriptor"),
        (OSError(), "^OSError$"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_every_way_to_lose_a_connection_is_one_kind(serve, wired, monkeypatch, raised, expected):
    """Which class is raised differs by VISA, interface and moment."""
    wire = wired(serve(answer).resource)

    def fail(message: bytes) -> None:
        raise raised

    monkeypatch.setattr(wire._resource, "write_raw", fail)
    with pytest.raises(WireClosed, match=expected):
        wire.send(b"*IDN?")


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ("COM3", "ASRL3::INSTR"),
        ("com12", "ASRL12::INSTR"),
        ("/dev/ttyUSB0", "ASRL/dev/ttyUSB0::INSTR"),
        ("TCPIP::h::1::SOCKET", "TCPIP::h::1::SOCKET"),
    ],
)
def test_serial_ports_become_resource_strings(given, expected):
    """A user writes the port's own name."""
    assert expected == resource_name(given)


# Transport and wire together --------------------------------------------------------------


def talking(server: Server) -> Transport:
    dialogue = Dialogue(timeout_seconds=0.3)
    wire = open_wire(server.resource, dialogue)
    transport = Transport(wire, "meter", server.resource, dialogue, RealClock())
    transport.identity = transport.query("*IDN?")
    return transport


def test_answer_that_comes_after_its_timeout_is_not_the_next_answer(serve):
    """The late line is released only when the next question has been asked."""
    timed_out = threading.Event()

    def late(connection: socket.socket, line: str) -> None:
        if line == "SLOW?":
            timed_out.wait(10.0)
        answer(connection, line)

    transport = talking(serve(late))
    transport.dialogue = Dialogue(timeout_seconds=0.3, error_query="")
    transport.identity, known = "", transport.identity
    with pytest.raises(InstrumentSilent):
        transport.query("SLOW?")
    transport.identity = known
    timed_out.set()
    assert "VOLT?" == transport.query("VOLT?")
    transport.close()


def test_half_answer_then_its_tail_is_not_the_next_answer(serve):
    """The tail arrives after the time-out."""
    timed_out = threading.Event()

    def halves(connection: socket.socket, line: str) -> None:
        if line == "SLOW?":
            connection.sendall(b"PART")
            timed_out.wait(10.0)
            connection.sendall(b"REST\n")
        else:
            answer(connection, line)

    transport = talking(serve(halves))
    transport.dialogue = Dialogue(timeout_seconds=0.3, error_query="")
    with pytest.raises(InstrumentSilent, match='got only "PART"'):
        transport.query("SLOW?")
    timed_out.set()
    assert "VOLT?" == transport.query("VOLT?")
    transport.close()


def test_dropped_connection_is_told_and_then_made_anew(serve):
    """First the error, then a new connection, so that outputs can be switched off."""

    def drop_once(connection: socket.socket, line: str) -> None:
        if line == "DROP?":
            connection.shutdown(socket.SHUT_RDWR)
        else:
            answer(connection, line)

    transport = talking(serve(drop_once))
    with pytest.raises(ConnectionLost, match="closed by the instrument"):
        transport.query("DROP?")
    assert "OUTP?" == transport.query("OUTP?")
    transport.close()


def test_instrument_that_never_answers_is_missing(serve):
    """Connected, then closed on the first question."""
    server = serve(lambda connection, _: connection.shutdown(socket.SHUT_RDWR))
    with pytest.raises(InstrumentMissing, match="expected an instrument there"):
        talking(server)


def test_unknown_query_names_the_error_queue(serve):
    """No answer, but an entry in the queue."""

    def strict(connection: socket.socket, line: str) -> None:
        if line == "SYST:ERR?":
            connection.sendall(b'-113,"Undefined header"\n')
        elif line != "FOO?":
            answer(connection, line)

    transport = talking(serve(strict))
    with pytest.raises(InstrumentSilent, match='its error queue says -113,"Undefined header"'):
        transport.query("FOO?")
    transport.close()
