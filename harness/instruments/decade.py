"""The resistance source that stands in for a thermistor."""

from __future__ import annotations

from harness.descriptions.instrument import DecadeModel
from harness.errors import MisuseError
from harness.instruments.driver import Driver
from harness.instruments.faults import SetPointMismatch, quoted
from harness.instruments.transport import Transport
from harness.protocols.scpi_command import fill
from harness.protocols.scpi_reply import Reading


class Decade(Driver):
    """A programmable decade."""

    def __init__(self, transport: Transport, model: DecadeModel) -> None:
        super().__init__(transport, model.identity)
        self.model = model

    def set_resistance(self, ohms: float) -> float:
        """Set the step nearest to `ohms`, verified by read-back, and return what was set.

        Raises
        ------
        MisuseError : outside the decade's range. SetPointMismatch : the read-back differs.
        InstrumentError : it refused or did not answer.
        """
        model = self.model
        if not model.lowest_ohms <= ohms <= model.highest_ohms:
            raise MisuseError(
                f"{self.place}: expected a resistance from {model.lowest_ohms:g} ohm to "
                f"{model.highest_ohms:g} ohm, got {ohms:g} ohm; correct the plan's points"
            )
        steps = round((ohms - model.lowest_ohms) / model.step_ohms)
        wanted = min(model.lowest_ohms + steps * model.step_ohms, model.highest_ohms)
        command = fill(model.commands.set_resistance, ohms=wanted)
        (said,) = self.exchange([command, model.commands.get_resistance])
        stands = self.number(model.commands.get_resistance, said)
        if not abs(stands - wanted) <= model.step_ohms / 2:
            raise SetPointMismatch(
                f"{self.place}: sent {quoted(command)}: expected {wanted:g} ohm read back, "
                f"got {stands:g} ohm; check step_ohms in the model description"
            )
        return stands

    def get_resistance(self) -> Reading:
        """The present setting.

        Raises
        ------
        UnexpectedReply : no number came. Others as from the transport.
        """
        question = self.model.commands.get_resistance
        return self.reading(question, self.transport.query(question))
