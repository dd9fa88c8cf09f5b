"""The simulated multimeter: integrates the plant's meter input over its aperture.

A reading is the average over the aperture in simulated time, plus the one drawn share of the
accuracy specification, the relays' thermal voltage and the noise of the integration time,
rounded to the resolution.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Mapping, Sequence

from harness.descriptions.bench import BenchDescription, InstrumentEntry
from harness.descriptions.instrument import Integration, MeterModel, MeterRange
from harness.metrology.specification import accuracy_half_width
from harness.protocols.scpi_numbers import format_reading
from harness.simulator.draws import BenchDraw
from harness.simulator.faults import InstrumentFault
from harness.simulator.parameters import number
from harness.simulator.plant import Plant, Window
from harness.simulator.templates import CommandTable
from harness.timebase import Clock

# Bench meters read up to a fifth above the range's name, then say overload (common practice).
OVER_RANGE_RATIO = 1.2

MOST_SAMPLES = 1_000_000

Holes = Mapping[str, str]


class MeterDevice:
    """Function, range, integration time and sample count; readings on READ?.

    Parameters
    ----------
    name : in the bench file; bench : for the line frequency, the ambient temperature and the
        accuracy column that the meter's calibration age allows.
    """

    def __init__(
        self,
        name: str,
        model: MeterModel,
        bench: BenchDescription,
        plant: Plant,
        clock: Clock,
        draw: BenchDraw,
        fault: InstrumentFault,
    ) -> None:
        self._model = model
        self._bench = bench
        self._entry: InstrumentEntry = bench.instruments[name]
        self._plant = plant
        self._clock = clock
        self._errors = draw.meters[name]
        self._noise = draw.meter_noise
        self._fault = fault
        self._readings = 0
        self.reset()

    def reset(self) -> None:
        """As `*RST`: DC volts, the largest range, one reading of one power-line cycle."""
        self._is_ohms = False
        self._range = max(self._model.voltage_ranges, key=lambda r: r.range_value)
        self._cycles = 1.0
        self._count = 1

    def commands(self) -> CommandTable:
        """The commands of the model description."""
        table, forms = CommandTable(), self._model.commands
        table.add(forms.configure_voltage, self._configure_voltage)
        table.add(forms.configure_resistance, self._configure_resistance)
        table.add(forms.set_voltage_cycles, self._set_cycles)
        if forms.set_resistance_cycles != forms.set_voltage_cycles:
            table.add(forms.set_resistance_cycles, self._set_cycles)
        table.add(forms.set_count, self._set_count)
        table.add(forms.read, lambda holes: self._read())
        return table

    def _configure_voltage(self, holes: Holes) -> None:
        self._configure(holes, self._model.voltage_ranges, "V")
        self._is_ohms = False
        self._plant.advance(self._clock.now())
        self._plant.set_meter_ohms(self._range.input_ohms)

    def _configure_resistance(self, holes: Holes) -> None:
        self._configure(holes, self._model.resistance_ranges, "ohm")
        self._is_ohms = True

    def _configure(self, holes: Holes, ranges: Sequence[MeterRange], unit: str) -> None:
        """The smallest range that holds the value expected; one cycle, one reading."""
        ordered = sorted(ranges, key=lambda r: r.range_value)
        highest = ordered[-1].range_value
        wanted = number(holes.get("range", "MAX"), unit, 0.0, highest * OVER_RANGE_RATIO)
        self._range = next((r for r in ordered if wanted <= r.range_value), ordered[-1])
        self._cycles, self._count = 1.0, 1

    def _set_cycles(self, holes: Holes) -> None:
        known = [i.power_line_cycles for i in self._model.integration]
        self._cycles = number(holes["power_line_cycles"], "1", min(known), max(known))

    def _set_count(self, holes: Holes) -> None:
        self._count = int(number(holes["count"], "1", 1, MOST_SAMPLES))

    def _read(self) -> Generator[float, None, str | None]:
        """All readings, one aperture after the other."""
        aperture = self._cycles / self._bench.line_frequency_hertz
        self._plant.advance(self._clock.now())
        began = self._plant.time
        windows: list[Window] = []
        for index in range(self._count):
            self._plant.schedule(
                began + index * aperture, lambda: windows.append(self._plant.integrate(aperture))
            )
        yield aperture * self._count
        self._plant.advance(max(self._clock.now(), began + aperture * self._count))
        readings = [self._reading(window) for window in windows]
        self._readings += 1
        if _is_past(self._readings, self._fault.silent_after_readings):
            return None
        return ",".join(readings)

    def _reading(self, window: Window) -> str:
        value = self._ohms() if self._is_ohms else self._volts(window)
        limit = self._range.range_value * OVER_RANGE_RATIO
        if abs(value) > limit or _is_past(self._readings + 1, self._fault.overload_after_readings):
            return format_reading(math.inf)
        return format_reading(self._with_errors(value))

    def _volts(self, window: Window) -> float:
        return window.mean_volts + self._plant.relays.meter_emf_volts()

    def _ohms(self) -> float:
        return self._plant.meter_ohms_seen()

    def _with_errors(self, value: float) -> float:
        figures = self._integration()
        share = self._errors.ohms if self._is_ohms else self._errors.volts
        noise = figures.noise_ppm_of_range * 1e-6 * self._range.range_value
        step = figures.resolution_ppm_of_range * 1e-6 * self._range.range_value
        shown = value + share * self._half_width(value) + noise * self._noise.standard_normal()
        return float(step * round(shown / step))

    def _half_width(self, value: float) -> float:
        """The accuracy specification's bound at this value, in the column of the bench file."""
        column = self._range.accuracy[self._entry.column]
        chosen = self._range
        return float(
            accuracy_half_width(
                value,
                chosen.range_value,
                column.ppm_of_reading,
                column.ppm_of_range,
                temperature_ppm_of_reading_per_kelvin=chosen.temperature_ppm_of_reading_per_kelvin,
                temperature_ppm_of_range_per_kelvin=chosen.temperature_ppm_of_range_per_kelvin,
                ambient_celsius=self._bench.ambient.celsius,
                calibration_celsius=self._model.calibration_celsius,
                within_kelvin=column.within_kelvin,
            )
        )

    def _integration(self) -> Integration:
        """The figures of the longest declared integration time not above the present one."""
        ordered = sorted(self._model.integration, key=lambda i: i.power_line_cycles)
        return [i for i in ordered if i.power_line_cycles <= self._cycles][-1]


def _is_past(count: int, most: int | None) -> bool:
    return most is not None and count > most
