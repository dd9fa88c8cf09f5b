"""The relay card: routes by closing relays, break before make.

It knows what is closed now, so that a route that stands costs nothing. After a failed message
nobody knows what is closed; then all is opened first.
"""

from __future__ import annotations

from collections.abc import Iterable

from harness.descriptions.instrument import SwitchModel
from harness.errors import MisuseError
from harness.instruments.driver import Driver
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

    @property
    def closed(self) -> frozenset[str] | None:
        """Relays closed now; None when that is not known."""
        return self._closed

    def open(self) -> None:
        """As every driver's; then opens all relays, whatever was closed before."""
        super().open()
        self.open_all()

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

    def route(self, relays: frozenset[str]) -> None:
        """Close exactly `relays` of this card; sends nothing when they are.

        Raises
        ------
        RelayConflict : never to be closed together; nothing was sent.
        MisuseError : the card has no such relay.
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
        SetPointMismatch : they are not those that `route` closed.
        """
        question = self._listed(self.model.commands.is_closed, self.model.relays)
        parts = self.transport.query(question).split(",")
        if len(parts) != len(self.model.relays):
            raise self.unexpected(question, f"{len(self.model.relays)} answers", ",".join(parts))
        seen = frozenset(
            relay
            for relay, said in zip(sorted(self.model.relays), parts, strict=True)
            if self.boolean(question, said)
        )
        if seen != self._closed:
            expected = sorted(self._closed) if self._closed is not None else "all relays known"
            raise SetPointMismatch(
                f"{self.place}: expected closed {expected}, got {sorted(seen)}; "
                "see that nothing else drives the card, and check the relays"
            )

    def _listed(self, template: str, relays: Iterable[str]) -> str:
        return fill(template, channels=sorted(relays))
