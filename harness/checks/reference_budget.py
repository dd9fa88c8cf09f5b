"""Contributions of the reference to the uncertainty of an error: meter, leads, relays, drift.

Each function gives one contribution for n errors, in the unit of the reading (volts or ohms;
`scaled` applies a sensitivity). Bounds are taken rectangular (GUM 4.3.7).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from harness.checks.reference import MeterOnBench, column_of, integration_of, range_index
from harness.descriptions.instrument import MeterRange, SupplyModel, SwitchModel
from harness.descriptions.paths import resolve_relay
from harness.descriptions.setup import Setup
from harness.metrology.budget import Contribution, Shape
from harness.metrology.loading import loading_uncertainty_volts
from harness.metrology.specification import (
    StatedCoverage,
    accuracy_half_width,
    standard_uncertainty,
)
from harness.observation import FloatArray

_PPM = 1.0e-6


@dataclass(frozen=True)
class MeterUse:
    """n readings of one meter, each in the range that holds `largest`.

    ranges : the meter's voltage or resistance ranges. reading : shape (n,), volts or ohms.
    largest : shape (n,), the value by which the range was chosen (the highest cell of the
    scan). power_line_cycles : integration time.
    """

    meter: MeterOnBench
    ranges: tuple[MeterRange, ...]
    reading: FloatArray
    largest: FloatArray
    power_line_cycles: float
    unit: str = "V"

    def of_range(self, values: Sequence[float]) -> FloatArray:
        """One of `values`, given for each range, at each reading's range, shape (n,)."""
        found: FloatArray = np.array(values, dtype=np.float64)[self.places]
        return found

    @property
    def places(self) -> np.ndarray:
        """Index of each reading's range, shape (n,)."""
        return range_index(self.ranges, self.largest)

    @property
    def used(self) -> tuple[MeterRange, ...]:
        """The ranges that occur, smallest first."""
        seen = [self.ranges[i] for i in np.unique(self.places)]
        return tuple(sorted(seen, key=lambda r: r.range_value))


def rectangular(
    name: str, half_width: FloatArray, source: str, reduce_by: str, *, is_common: bool = False
) -> Contribution:
    """A bound of `half_width`, shape (n,), as a contribution: a / sqrt(3) (GUM 4.3.7)."""
    return Contribution(
        name=name,
        standard_uncertainty=np.abs(half_width) / np.sqrt(3.0),
        shape=Shape.RECTANGULAR,
        degrees_of_freedom=np.full(len(half_width), np.inf),
        is_common=is_common,
        reduce_by=reduce_by,
        source=source,
    )


def scaled(contribution: Contribution, sensitivity: FloatArray) -> Contribution:
    """The contribution times the size of `sensitivity`, shape (n,) (GUM 5.1.3)."""
    size = contribution.standard_uncertainty * np.abs(sensitivity)
    return replace(contribution, standard_uncertainty=size)


def accuracy_bound(use: MeterUse) -> FloatArray:
    """Half-width of the meter's specification at each reading, shape (n,), unit of the reading."""
    columns = [column_of(r, use.meter.column)[1] for r in use.ranges]
    return accuracy_half_width(
        use.reading,
        use.of_range([r.range_value for r in use.ranges]),
        use.of_range([c.ppm_of_reading for c in columns]),
        use.of_range([c.ppm_of_range for c in columns]),
        temperature_ppm_of_reading_per_kelvin=use.of_range(
            [r.temperature_ppm_of_reading_per_kelvin for r in use.ranges]
        ),
        temperature_ppm_of_range_per_kelvin=use.of_range(
            [r.temperature_ppm_of_range_per_kelvin for r in use.ranges]
        ),
        ambient_celsius=use.meter.ambient_celsius,
        calibration_celsius=use.meter.model.calibration_celsius,
        within_kelvin=use.of_range([c.within_kelvin for c in columns]),
    )


def accuracy_contribution(
    use: MeterUse, bound: FloatArray, name: str = "meter accuracy"
) -> Contribution:
    """`bound` (half-width, shape (n,)) with the coverage that the meter's model states.

    Its unknown part is the same at every channel and point of a run.
    """
    coverage = StatedCoverage(use.meter.model.accuracy_coverage)
    is_bound = coverage is StatedCoverage.RECTANGULAR
    return Contribution(
        name=name,
        standard_uncertainty=standard_uncertainty(bound, coverage),
        shape=Shape.RECTANGULAR if is_bound else Shape.NORMAL,
        degrees_of_freedom=np.full(len(bound), np.inf),
        is_common=True,
        reduce_by="calibrate the meter and use a shorter column, or use a better meter",
        source=_specification_text(use),
    )


def meter_accuracy(use: MeterUse) -> Contribution:
    """The meter's accuracy specification in the column of its calibration age."""
    return accuracy_contribution(use, accuracy_bound(use))


def _specification_text(use: MeterUse) -> str:
    parts = []
    for r in use.used:
        name, column = column_of(r, use.meter.column)
        parts.append(
            f"{column.ppm_of_reading:g} ppm of reading + {column.ppm_of_range:g} ppm of range "
            f"{r.range_value:g} {use.unit} ({name.value} column)"
        )
    widest = max(column_of(r, use.meter.column)[1].within_kelvin for r in use.used)
    away = abs(use.meter.ambient_celsius - use.meter.model.calibration_celsius) - widest
    beyond = f", {away:g} K outside its temperature band" if away > 0 else ""
    return f"{use.meter.name}: {'; '.join(parts)}{beyond}"


def meter_resolution(use: MeterUse) -> Contribution:
    """Half a step of the meter's display at its integration time."""
    row = integration_of(use.meter.model, use.power_line_cycles)
    spans = use.of_range([r.range_value for r in use.ranges])
    return rectangular(
        "meter resolution",
        0.5 * row.resolution_ppm_of_range * _PPM * spans,
        f"{use.meter.name}: {row.resolution_ppm_of_range:g} ppm of range at "
        f"{row.power_line_cycles:g} power-line cycles",
        "integrate over more power-line cycles",
    )


def stated_noise(use: MeterUse) -> FloatArray:
    """Standard deviation of one reading by the meter's model, shape (n,)."""
    row = integration_of(use.meter.model, use.power_line_cycles)
    return row.noise_ppm_of_range * _PPM * use.of_range([r.range_value for r in use.ranges])


def meter_noise(
    use: MeterUse,
    count: FloatArray,
    scatter: FloatArray | None = None,
    freedom: FloatArray | None = None,
) -> Contribution:
    """Scatter of the mean of `count` readings, shape (n,).

    Type A with the pooled `scatter` of one reading and its `freedom` where these are given and
    not NaN (GUM 4.2.3), else the noise that the model states.
    """
    stated = stated_noise(use)
    sigma = stated if scatter is None else np.where(np.isnan(scatter), stated, scatter)
    degrees = np.full(len(stated), np.inf)
    if scatter is not None and freedom is not None:
        degrees = np.where(np.isnan(scatter), np.inf, freedom)
    is_observed = scatter is not None and not np.isnan(scatter).all()
    return Contribution(
        name="meter noise",
        standard_uncertainty=sigma / np.sqrt(np.maximum(count, 1.0)),
        shape=Shape.STUDENT,
        degrees_of_freedom=degrees,
        is_common=False,
        reduce_by="take more readings or integrate longer",
        source=f"{use.meter.name}: "
        + ("scatter of its readings, pooled" if is_observed else "noise stated by its model"),
    )


def drift(change: FloatArray) -> Contribution:
    """Change of the first cell over the scan, shape (n,), half of it a bound either way.

    |R2 - R1| / (2 sqrt 3): rectangular between the two (common practice).
    """
    return rectangular(
        "drift",
        change / 2.0,
        "first cell read again at the end of the scan",
        "scan faster, or let source and meter warm up",
    )


def tap_amperes(setup: Setup) -> FloatArray:
    """Largest current through the contact of each tap T0..TN, shape (cells + 1,), amperes.

    The declared input current at T1..TN, which returns at T0, and the board's supply current,
    which enters at TN and leaves at T0.
    """
    inputs, cells = setup.board.cell_inputs, setup.board.cells
    amperes = np.full(cells + 1, inputs.input_amperes)
    amperes[0] = cells * inputs.input_amperes + inputs.supply_amperes
    amperes[-1] += inputs.supply_amperes
    return amperes


def contact_drop(setup: Setup, cells: Sequence[int], copies: int = 1) -> Contribution:
    """Drop between the meter's point and the board's pins, in both contacts of each cell.

    The meter is somewhere between the two ends of a contact (decision record on the contact
    drop), so what the contact drops is a bound.

    Parameters
    ----------
    cells : cell of each reading, repeated `copies` times to give n.
    """
    amperes = tap_amperes(setup)
    number = np.array(cells, dtype=np.int64)
    bounds = setup.bench.wiring.contact_ohms * (amperes[number - 1] + amperes[number])
    return _contact(setup, np.tile(bounds, copies))


def stack_contact_drop(setup: Setup, count: int) -> Contribution:
    """As `contact_drop` over the whole stack, for a sum of cells too: only the ends are left."""
    amperes = tap_amperes(setup)
    bound = setup.bench.wiring.contact_ohms * (amperes[0] + amperes[-1])
    return _contact(setup, np.full(count, bound))


def _contact(setup: Setup, bounds: FloatArray) -> Contribution:
    inputs = setup.board.cell_inputs
    return rectangular(
        "lead and contact drop",
        bounds,
        f"{inputs.input_amperes:g} A a tap and {inputs.supply_amperes:g} A of supply at the end "
        f"taps, declared, through two contacts of {setup.bench.wiring.contact_ohms:g} ohm",
        "measure at the pins themselves, with better contacts, or feed the board apart",
    )


def relay_emf(setup: Setup, paths: Sequence[Sequence[str]], copies: int = 1) -> Contribution:
    """Thermal EMF of the relays in the meter's path, each relay its own.

    Parameters
    ----------
    paths : for each cell the relays in its path; repeated `copies` times to give n.
    """
    bounds = [np.sqrt(sum(_emf_volts(setup, relay) ** 2 for relay in path)) for path in paths]
    return rectangular(
        "relay thermal EMF",
        np.tile(np.array(bounds, dtype=np.float64), copies),
        "relay card's stated thermal EMF",
        "use low-thermal relays, or correct by a shorted reading",
    )


def _emf_volts(setup: Setup, relay: str) -> float:
    model = setup.models[resolve_relay(relay, setup)[0]]
    return model.thermal_emf_volts if isinstance(model, SwitchModel) else 0.0


def source_ohms(setup: Setup) -> float:
    """Source resistance across one cell as the meter sees it.

    Ladder of N rungs R under a stiff supply: R (N - 1) / N, which is R_th at both taps less
    their coupling (voltage divider). Series: the supply's output. Leads and contacts on top.
    """
    wiring = setup.bench.wiring
    if wiring.topology == "ladder" and wiring.rung_ohms is not None:
        return _lead_ohms(setup) + wiring.rung_ohms * (wiring.cells - 1) / wiring.cells
    return _lead_ohms(setup) + _output_ohms(setup)


def stack_source_ohms(setup: Setup) -> float:
    """Source resistance across the stack as the meter sees it.

    Ladder: the supply's output, in parallel to which the rungs change nothing. Series: the
    outputs of all cells. Leads and contacts of the end taps on top.
    """
    wiring = setup.bench.wiring
    outputs = 1 if wiring.topology == "ladder" else wiring.cells
    return _lead_ohms(setup) + outputs * _output_ohms(setup)


def _lead_ohms(setup: Setup) -> float:
    wiring = setup.bench.wiring
    return 2 * (wiring.lead_ohms + wiring.contact_ohms)


def _output_ohms(setup: Setup) -> float:
    supply = setup.models.get(setup.bench.wiring.supply)
    return supply.output_ohms if isinstance(supply, SupplyModel) else 0.0


def loading(use: MeterUse, ohms: float) -> Contribution:
    """The meter loads what it reads, and the board samples while it reads others.

    Parameters
    ----------
    ohms : of the source, see `source_ohms` and `stack_source_ohms`.
    """
    inputs = use.of_range([r.input_ohms for r in use.ranges])
    bound = loading_uncertainty_volts(use.reading, ohms, inputs) * np.sqrt(3.0)
    return rectangular(
        "loading",
        bound,
        f"input of {inputs.min():g} ohm on a source of {ohms:.3g} ohm",
        "use a meter range of higher input resistance, or a stiffer source",
    )
