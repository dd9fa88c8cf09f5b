"""The multimeter: voltage and resistance readings, several at a time.

Overload and not-a-number stay what they are; nothing here averages. A reading can be started
and fetched later, so that the board's frames come in meanwhile.
"""

from __future__ import annotations

from collections.abc import Sequence

from harness.descriptions.instrument import MeterModel, MeterRange
from harness.errors import MisuseError
from harness.instruments.driver import Driver
from harness.instruments.transport import Transport
from harness.protocols.scpi_command import fill
from harness.protocols.scpi_reply import Reading

# Auto-zero measures the zero after every reading and so doubles its time.
AUTO_ZERO_FACTOR = 2.0


def range_for(ranges: Sequence[MeterRange], value: float) -> MeterRange:
    """The smallest range that holds `value`; the largest when none does (it will overload)."""
    ordered = sorted(ranges, key=lambda r: r.range_value)
    return next((r for r in ordered if abs(value) <= r.range_value), ordered[-1])


class Meter(Driver):
    """A digital multimeter.

    Parameters
    ----------
    line_frequency_hertz : turns power-line cycles into time, for time-outs.
    """

    def __init__(
        self, transport: Transport, model: MeterModel, line_frequency_hertz: float
    ) -> None:
        super().__init__(transport, model.identity)
        self.model = model
        self._line_frequency_hertz = line_frequency_hertz
        self._configuration: tuple[str, ...] = ()
        self._readings = 0
        self._cycles = 0.0

    def configure_voltage(
        self, largest_volts: float, power_line_cycles: float, readings: int
    ) -> None:
        """Measure DC volts from now on; sends nothing when that is so already.

        Parameters
        ----------
        largest_volts : chooses the range; readings : taken by each `read`.

        Raises
        ------
        InstrumentError : the meter refused or did not answer.
        """
        commands = self.model.commands
        self._configure(
            self.model.voltage_ranges,
            largest_volts,
            (commands.configure_voltage, commands.set_voltage_cycles),
            power_line_cycles,
            readings,
        )

    def configure_resistance(
        self, largest_ohms: float, power_line_cycles: float, readings: int
    ) -> None:
        """Measure ohms from now on; as `configure_voltage`.

        Raises
        ------
        MisuseError : the model declares no resistance range. Others as `configure_voltage`.
        """
        if not self.model.resistance_ranges:
            raise MisuseError(
                f"{self.place}: expected resistance_ranges in its model description, got none"
            )
        commands = self.model.commands
        self._configure(
            self.model.resistance_ranges,
            largest_ohms,
            (commands.configure_resistance, commands.set_resistance_cycles),
            power_line_cycles,
            readings,
        )

    def _configure(
        self,
        ranges: Sequence[MeterRange],
        value: float,
        templates: tuple[str, str],
        power_line_cycles: float,
        readings: int,
    ) -> None:
        configure, set_cycles = templates
        set_count = self.model.commands.set_count
        chosen = range_for(ranges, value).range_value
        wanted = (
            fill(configure, range=chosen),
            fill(set_cycles, power_line_cycles=power_line_cycles) if set_cycles else "",
            fill(set_count, count=readings) if set_count else "",
        )
        if not set_count and readings != 1:
            raise MisuseError(
                f"{self.place}: expected 1 reading (its model has no set_count), got {readings}"
            )
        if wanted == self._configuration:
            return
        self._configuration = ()
        self.exchange(wanted)
        self._configuration = wanted
        self._readings, self._cycles = readings, power_line_cycles

    def read(self) -> tuple[Reading, ...]:
        """Take the configured number of readings.

        Raises
        ------
        UnexpectedReply : not that many numbers. Others as from the transport.
        """
        try:
            self.start_read()
            return self.finish_read()
        except BaseException:
            self.transport.abandon()
            raise

    def start_read(self) -> None:
        """Start the readings and return; the meter takes no other message until `finish_read`.

        Raises
        ------
        MisuseError : not configured.
        """
        if not self._configuration:
            raise MisuseError(f"{self.place}: expected to be configured before reading")
        integration = self._readings * self._cycles / self._line_frequency_hertz
        timeout = self.transport.dialogue.timeout_seconds + AUTO_ZERO_FACTOR * integration
        self.transport.start(self.model.commands.read, timeout)

    def finish_read(self) -> tuple[Reading, ...]:
        """The readings that `start_read` started.

        Raises
        ------
        UnexpectedReply : not as many numbers as configured.
        """
        said = self.transport.finish()
        sent = self.model.commands.read
        readings = tuple(self.reading(sent, part) for part in said.split(","))
        if len(readings) != self._readings:
            raise self.unexpected(sent, f"{self._readings} numbers", said)
        return readings
