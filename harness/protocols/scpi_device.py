"""The instrument side of IEEE 488.2 and SCPI-1999: commands in, waits and replies out.

Sans-I/O: `ScpiDevice.execute` is a generator that yields the seconds it wants to wait and
returns the reply line; whoever drives it owns the socket and the clock. After an error in a
compound message the next commands are executed, and an unknown query answers nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass

from harness.errors import MisuseError
from harness.protocols.scpi_call import Call
from harness.protocols.scpi_errors import EventBits, ScpiFault
from harness.protocols.scpi_headers import HeaderPattern
from harness.protocols.scpi_lexer import Unit, parse_unit, units
from harness.protocols.scpi_status import Status, StatusRegister

# SCPI-1999 vol. 2, 21.21: year and revision of the standard.
SCPI_VERSION = "1999.0"

# IEEE 488.2-1992, 11.4.3.2: enable registers have eight bits; SCPI's have fifteen.
_BYTE = 255
_REGISTER = 32767

Waits = Generator[float, None, str | None]
Outcome = str | None | Waits


@dataclass(frozen=True)
class Command:
    """One entry of an instrument's command table.

    header : in SCPI notation, with "?" for a query; see `scpi_headers`.
    handler : called with the `Call`; returns the reply of a query, None of a command, or is a
        generator that yields seconds to wait and then returns either. Raises `ScpiFault`.
    parameters : how many it takes, or (fewest, most); counted before the handler is called.
    """

    header: str
    handler: Callable[[Call], Outcome]
    parameters: int | tuple[int, int] = 0

    @property
    def bounds(self) -> tuple[int, int]:
        """Fewest and most parameters."""
        if isinstance(self.parameters, int):
            return self.parameters, self.parameters
        return self.parameters


def _nothing() -> None:
    return None


def _never_pending() -> float:
    return 0.0


def _passed() -> int:
    return 0


class ScpiDevice:
    """One instrument.

    Parameters
    ----------
    identity : the answer to *IDN?, four fields separated by commas.
    commands : its own commands; the common ones and SYSTem and STATus are there already, and
        an own command of the same header replaces them.
    pending : seconds until all operations begun so far are complete, 0 when they are; asked
        again after each wait. *OPC? and *WAI wait for it.
    reset : what *RST does; self_test : the answer to *TST?, 0 for passed.

    Raises
    ------
    MisuseError : a header in bad notation, an identity that has not four fields.
    """

    def __init__(
        self,
        identity: str,
        commands: Sequence[Command],
        *,
        pending: Callable[[], float] = _never_pending,
        reset: Callable[[], None] = _nothing,
        self_test: Callable[[], int] = _passed,
    ) -> None:
        if identity.count(",") != 3:
            raise MisuseError(f'identity: expected "maker,model,serial,firmware", got "{identity}"')
        self.status = Status()
        self._identity = identity
        self._pending = pending
        self._reset = reset
        self._self_test = self_test
        self._waits_for_completion = False
        self._output: list[str] = []
        table = [*commands, *self._common(), *self._system(), *self._status_commands()]
        self._table = [(HeaderPattern(command.header), command) for command in table]
        self._found: dict[tuple[str, bool], tuple[Command, tuple[int, ...]]] = {}

    def report(self, number: int, information: str = "") -> None:
        """Enter an error that did not come from a command, such as -410 or -363."""
        self.status.report(number, information)

    def execute(self, message: str) -> Waits:
        """Execute one program message without its terminator.

        Yields
        ------
        Seconds to wait before going on.

        Returns
        -------
        The whole reply line without terminator, replies joined by semicolons; None when
        nothing was asked that could be answered.
        """
        self._output = []
        path = ""
        for text in units(message):
            try:
                unit = parse_unit(text)
                header, next_path = _rooted(unit.header.upper(), path)
                command, suffixes = self._lookup(header, unit)
                path = next_path
                yield from self._call(command, Call(command.header, suffixes, unit.parameters))
            except ScpiFault as fault:
                self.status.report(fault.number, fault.information)
        return ";".join(self._output) if self._output else None

    def _call(self, command: Command, call: Call) -> Generator[float, None, None]:
        """Count the parameters, let the handler act, collect its reply."""
        fewest, most = command.bounds
        if len(call.parameters) > most:
            raise ScpiFault(-108, call.parameters[most])
        if len(call.parameters) < fewest:
            raise ScpiFault(-109)
        outcome = command.handler(call)
        reply = (yield from outcome) if isinstance(outcome, Generator) else outcome
        if reply is not None:
            self._output.append(reply)

    def _lookup(self, header: str, unit: Unit) -> tuple[Command, tuple[int, ...]]:
        key = (header, unit.is_query)
        if key not in self._found:
            for pattern, command in self._table:
                suffixes = pattern.match(header) if pattern.is_query == unit.is_query else None
                if suffixes is not None:
                    self._remember(key, (command, suffixes))
                    return command, suffixes
            raise ScpiFault(-113, unit.header + ("?" if unit.is_query else ""))
        return self._found[key]

    def _remember(self, key: tuple[str, bool], found: tuple[Command, tuple[int, ...]]) -> None:
        # Suffixes make the headers of one command many; a thousand are more than any dialogue.
        if len(self._found) >= 1000:
            self._found.clear()
        self._found[key] = found

    def _complete(self) -> Generator[float, None, None]:
        """Wait until no operation is pending."""
        while (seconds := self._pending()) > 0:
            yield seconds

    def _read_event(self) -> int:
        """The event status, with operation complete when *OPC asked for it and it is."""
        if self._waits_for_completion and self._pending() <= 0:
            self.status.event |= EventBits.OPERATION_COMPLETE
            self._waits_for_completion = False
        return self.status.read_event()

    def _common(self) -> list[Command]:
        """The common commands that SCPI-1999 vol. 1, 4.1.1 makes mandatory."""
        status = self.status
        return [
            Command("*CLS", lambda _: self._clear()),
            Command("*ESE", self._set_event_enable, 1),
            Command("*ESE?", lambda _: str(status.event_enable)),
            Command("*ESR?", lambda _: str(self._read_event())),
            Command("*IDN?", lambda _: self._identity),
            Command("*OPC", lambda _: self._announce_completion()),
            Command("*OPC?", lambda _: self._answer_when_complete()),
            Command("*RST", lambda _: self._reset_all()),
            Command("*SRE", self._set_service_enable, 1),
            Command("*SRE?", lambda _: str(status.service_enable)),
            Command("*STB?", lambda _: str(status.status_byte(has_output=bool(self._output)))),
            Command("*TST?", lambda _: str(self._self_test())),
            Command("*WAI", lambda _: self._wait()),
        ]

    def _system(self) -> list[Command]:
        """SCPI-1999 vol. 1, 4.2.1."""
        return [
            Command("SYSTem:ERRor[:NEXT]?", lambda _: self.status.errors.pop()),
            Command("SYSTem:ERRor:COUNt?", lambda _: str(len(self.status.errors))),
            Command("SYSTem:VERSion?", lambda _: SCPI_VERSION),
        ]

    def _status_commands(self) -> list[Command]:
        """SCPI-1999 vol. 1, 4.2.1 and vol. 2, 20: the two register sets."""
        commands = [Command("STATus:PRESet", lambda _: self._preset())]
        for name, register in (
            ("OPERation", self.status.operation),
            ("QUEStionable", self.status.questionable),
        ):
            commands += _register_commands(f"STATus:{name}", register)
        return commands

    def _clear(self) -> None:
        self.status.clear()
        self._waits_for_completion = False

    def _reset_all(self) -> None:
        self._waits_for_completion = False
        self._reset()

    def _preset(self) -> None:
        self.status.operation.enable = self.status.questionable.enable = 0

    def _announce_completion(self) -> None:
        self._waits_for_completion = True
        if self._pending() <= 0:
            self.status.event |= EventBits.OPERATION_COMPLETE
            self._waits_for_completion = False

    def _answer_when_complete(self) -> Waits:
        yield from self._complete()
        return "1"

    def _wait(self) -> Waits:
        yield from self._complete()
        return None

    def _set_event_enable(self, call: Call) -> None:
        self.status.event_enable = call.whole(0, 0, _BYTE)

    def _set_service_enable(self, call: Call) -> None:
        # Bit 6, the summary itself, cannot be enabled (IEEE 488.2-1992, 11.3.2.3).
        self.status.service_enable = call.whole(0, 0, _BYTE) & ~64


def _register_commands(root: str, register: StatusRegister) -> list[Command]:
    def enable(call: Call) -> None:
        register.enable = call.whole(0, 0, _REGISTER)

    return [
        Command(f"{root}[:EVENt]?", lambda _: str(register.read_event())),
        Command(f"{root}:CONDition?", lambda _: str(register.condition)),
        Command(f"{root}:ENABle", enable, 1),
        Command(f"{root}:ENABle?", lambda _: str(register.enable)),
    ]


def _rooted(header: str, path: str) -> tuple[str, str]:
    """`header` from the root of the command tree, and the path for the command after it.

    A leading colon starts at the root; without one a header continues from the parent of the
    one before; common commands leave the path alone (SCPI-1999 vol. 1, 6.2.4).
    """
    if header.startswith("*"):
        return header, path
    full = header if header.startswith(":") else f"{path}:{header}"
    return full, full.rpartition(":")[0]
