"""The relay card: routes by closing relays, break before make.

It knows what is closed now, so that a route that stands costs nothing. After a failed message
nobody knows what is closed; then all is opened first. What the card itself says is closed is
compared when the card is opened and the first time that a set of relays is closed: a relay
that does not move would else be measured as a fault of the board.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from harness.descriptions.instrument import SwitchModel
from harness.errors import MisuseError
from harness.instruments.driver import LONGEST_MESSAGE, Driver
from harness.instruments.faults import SetPointMismatch
from harness.instruments.relay_guard import RelayGuard
from harness.instruments.transport import Transport
from harness.protocols.scpi_command import fill


class Switch(Driver):
    """A relay card.

    Parameters
    ----------
    name : the card's name in the bench file; guard : shared by all cards of the bench.
    """

    def __init__(
        self, transport: Transport, model: SwitchModel, name: str, guard: RelayGuard
    ) -> None:
        super().__init__(transport, model.identity)
        self.model = model
        self._name = name
        self._guard = guard
        self._closed: frozenset[str] | None = None
        self._proved: set[frozenset[str]] = set()

    @property
    def closed(self) -> frozenset[str] | None:
        """Relays closed now; None when that is not known."""
        return self._closed

    def open(self) -> None:
        """As every driver's; then opens all relays, whatever was closed before.

        Raises
        ------
        SetPointMismatch : a relay stays closed.
        """
        super().open()
        self.open_all()
        self.verify()

    def open_all(self) -> None:
        """Open every relay and wait for it.

        Raises
        ------
        InstrumentError : the card refused or did not answer.
        """
        self._closed = None
        self._carry_out([self.model.commands.open_all], self.model.release_seconds)
        self._guard.authorise(self._name, frozenset())
        self._closed = frozenset()

    def safe_open(self) -> None:
        """Open every relay on the way out, whatever a stop has cut off.

        Raises
        ------
        InstrumentError : the card refused or did not answer.
        """
        self.transport.reset()
        self.open_all()

    def route(self, relays: frozenset[str]) -> None:
        """Close exactly `relays` of this card; sends nothing when they are.

        Raises
        ------
        RelayConflict : never to be closed together; nothing was sent.
        MisuseError : the card has no such relay.
        SetPointMismatch : closed for the first time, and the card says otherwise.
        InstrumentError : the card refused or did not answer.
        """
        unknown = sorted(relays - set(self.model.relays))
        if unknown:
            raise MisuseError(f"{self.place}: expected relays of its model, got {unknown}")
        if relays == self._closed:
            return
        before = self._closed
        if before is None:
            self.open_all()
            before = frozenset()
        self._guard.authorise(self._name, relays)
        self._closed = None
        self._change(before - relays, relays - before)
        self._closed = relays
        if relays not in self._proved:
            self.verify()
            self._proved.add(relays)

    def _change(self, opened: frozenset[str], closed: frozenset[str]) -> None:
        commands = []
        if opened:
            commands.append(self._listed(self.model.commands.open, opened))
        if opened and closed:
            # Without it a card may start closing while the old relay has not let go.
            commands.append("*WAI")
        if closed:
            commands.append(self._listed(self.model.commands.close, closed))
        seconds = (self.model.release_seconds if opened else 0.0) + (
            self.model.operate_seconds if closed else 0.0
        )
        self._carry_out(commands, seconds)

    def _carry_out(self, commands: list[str], seconds: float) -> None:
        """Send, wait by `*OPC?`, and for cards that answer it at once wait the declared time."""
        began = self.transport.clock.now()
        (said,) = self.exchange([*commands, "*OPC?"])
        if said.strip() != "1":
            raise self.unexpected("*OPC?", "1", said)
        self.transport.clock.sleep(seconds - (self.transport.clock.now() - began))

    def verify(self) -> None:
        """Ask the card which relays are closed and compare.

        Raises
        ------
        SetPointMismatch : they are not those that `route` closed; nobody knows then what is.
        """
        seen = self._said_closed()
        if seen == self._closed:
            return
        wanted = self._closed if self._closed is not None else frozenset()
        self._closed = None
        wrong = [f"relay {r} stays open" for r in sorted(wanted - seen)]
        wrong += [f"relay {r} stays closed" for r in sorted(seen - wanted)]
        raise SetPointMismatch(
            f"{self.place}: expected closed {sorted(wanted)}, got {sorted(seen)}: "
            f"{', '.join(wrong) or 'nothing was known'}; see that nothing else drives the card, "
            "and check the relays"
        )

    def _said_closed(self) -> frozenset[str]:
        """The relays that the card says are closed, asked in messages it can take."""
        closed: set[str] = set()
        for group in self._groups():
            question = self._asking(group)
            parts = self.transport.query(question).split(",")
            if len(parts) != len(group):
                raise self.unexpected(question, f"{len(group)} answers", ",".join(parts))
            closed |= {
                relay
                for relay, said in zip(group, parts, strict=True)
                if self.boolean(question, said)
            }
        return frozenset(closed)

    def _groups(self) -> Iterator[list[str]]:
        """The card's relays, as many at a time as one question may name."""
        group: list[str] = []
        for relay in sorted(self.model.relays):
            if group and len(self._asking([*group, relay])) > LONGEST_MESSAGE:
                yield group
                group = []
            group.append(relay)
        yield group

    def _asking(self, relays: Iterable[str]) -> str:
        return self._listed(self.model.commands.is_closed, relays)

    def _listed(self, template: str, relays: Iterable[str]) -> str:
        return fill(template, channels=sorted(relays))
