"""Faults that show when a plan is read together with the board and the bench.

All remarks are about the plan file. A check marked `optional` may ask for what a board does
not have; it is then reported as not run.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from harness.descriptions.bench import BenchDescription
from harness.descriptions.board import BoardDescription
from harness.descriptions.cross_checks import Models
from harness.descriptions.curve import CurveDescription
from harness.descriptions.curve_values import curve_value
from harness.descriptions.faults import KeyPath, Remark
from harness.descriptions.instrument import DecadeModel, MeterModel, SupplyModel
from harness.descriptions.plan import (
    CheckSettings,
    MappingSettings,
    NoiseSettings,
    PlanDescription,
    StackTotalSettings,
    ThermistorAccuracySettings,
    ThermistorFaultsSettings,
)
from harness.descriptions.plan_points import cell_points, stack_volts
from harness.descriptions.toml_text import alternatives, as_toml, figure

# Neighbours in the mapping pattern must differ by more than both may be off.
LIMITS_BETWEEN_NEIGHBOURS = 2.0

ThermistorCheck = ThermistorAccuracySettings | ThermistorFaultsSettings


def plan_with_board(plan: PlanDescription, board: BoardDescription) -> Iterator[Remark]:
    """Channels the board has, points inside its range, fields its frames carry."""
    for index, check in enumerate(plan.check):
        path: KeyPath = ("check", index)
        yield from _numbers(path, "cells", getattr(check, "cells", None), board.cells)
        yield from _numbers(
            path, "thermistors", getattr(check, "thermistors", None), len(board.thermistors)
        )
        yield from _range_remarks(path, check, board)
        if isinstance(check, MappingSettings):
            yield from _mapping_remarks(path, check, plan, board)
        if not check.optional:
            yield from _field_remarks(path, check, board)


def _numbers(path: KeyPath, key: str, chosen: Sequence[int] | None, count: int) -> Iterator[Remark]:
    noun = key.removesuffix("s")
    for index, number in enumerate(chosen or ()):
        if number > count:
            has = f"{count} {noun}" if count == 1 else f"{count} {key}"
            yield Remark((*path, key, index), f"a {noun} of a board with {has}", as_toml(number))


def _range_remarks(
    path: KeyPath, check: CheckSettings, board: BoardDescription
) -> Iterator[Remark]:
    low, high = board.cell_inputs.lowest_volts, board.cell_inputs.highest_volts
    if low >= high:
        return
    for point in cell_points(check, board.cells):
        if not low <= point.volts <= high:
            span = f"{figure(low, 'V')} to {figure(high, 'V')}"
            expected = f"a voltage in the board's range, {span}"
            yield Remark((*path, *point.key), expected, point.shown)


def _mapping_remarks(
    path: KeyPath, check: MappingSettings, plan: PlanDescription, board: BoardDescription
) -> Iterator[Remark]:
    limit = plan.limits.cell_error_volts or board.limits.cell_error_volts
    least = LIMITS_BETWEEN_NEIGHBOURS * limit
    for key in ("spacing_volts", "move_volts"):
        if getattr(check, key) <= least:
            yield Remark(
                (*path, key),
                f"more than {LIMITS_BETWEEN_NEIGHBOURS:g} cell limits, {figure(least, 'V')}",
                as_toml(getattr(check, key)),
            )


def _field_remarks(
    path: KeyPath, check: CheckSettings, board: BoardDescription
) -> Iterator[Remark]:
    quantities: set[str] = {field.quantity for field in board.frame.fields}
    place = (*path, "kind")
    if isinstance(check, StackTotalSettings) and "stack_voltage" not in quantities:
        expected = "a check this board's frames allow"
        yield Remark(place, expected, f"{as_toml(check.kind)} without a stack_voltage field")
    if isinstance(check, ThermistorCheck) and not board.thermistors:
        expected = "a check for a board without thermistors"
        yield Remark(place, expected, as_toml(check.kind))
    if isinstance(check, ThermistorFaultsSettings):
        yield from _fault_telling_remarks(path, check, board, quantities)


def _fault_telling_remarks(
    path: KeyPath,
    check: ThermistorFaultsSettings,
    board: BoardDescription,
    quantities: set[str],
) -> Iterator[Remark]:
    """Without a flag or a declared reading nobody can say whether a fault was told."""
    missing = []
    for fault in ("open", "short"):
        is_read = all(
            getattr(board.thermistors[k - 1], f"{fault}_reads_celsius") is not None
            for k in _tested(check, board)
        )
        if f"thermistor_{fault}" not in quantities and not is_read:
            missing.append(f"a thermistor_{fault} field (or {fault}_reads_celsius)")
    if missing and board.thermistors:
        got = f"{as_toml(check.kind)} without {alternatives(missing, 'and')}"
        yield Remark((*path, "kind"), "a check this board can answer", got)


def _tested(check: ThermistorCheck, board: BoardDescription) -> list[int]:
    """The thermistors a check visits, those the board lacks left out."""
    every = range(1, len(board.thermistors) + 1)
    return [k for k in every if check.thermistors is None or k in check.thermistors]


def plan_with_curves(
    plan: PlanDescription,
    board: BoardDescription,
    curves: Mapping[int, CurveDescription],
) -> Iterator[Remark]:
    """Temperatures where the curves hold; `curves` by thermistor, those that could be read."""
    for path, celsius, who, curve in _temperatures(plan, board, curves):
        low, high = curve.lowest_celsius, curve.highest_celsius
        if not low <= celsius <= high:
            span = f"{figure(low, 'degC')} to {figure(high, 'degC')}"
            yield Remark(path, f"a temperature on the curve of {who}, {span}", as_toml(celsius))


def _temperatures(
    plan: PlanDescription,
    board: BoardDescription,
    curves: Mapping[int, CurveDescription],
) -> Iterator[tuple[KeyPath, float, str, CurveDescription]]:
    """Every temperature point with each curve it is for and the thermistors that have it."""
    for index, check in enumerate(plan.check):
        if not isinstance(check, ThermistorAccuracySettings):
            continue
        sharing: dict[CurveDescription, list[str]] = {}
        for thermistor in _tested(check, board):
            if thermistor in curves:
                sharing.setdefault(curves[thermistor], []).append(str(thermistor))
        for place, celsius in enumerate(check.points_celsius):
            for curve, numbers in sharing.items():
                who = f"thermistor{'s' if len(numbers) > 1 else ''} {alternatives(numbers, 'and')}"
                yield ("check", index, "points_celsius", place), celsius, who, curve


def plan_with_bench(plan: PlanDescription, bench: BenchDescription) -> Iterator[Remark]:
    """Points under the ceilings of cell and stack."""
    ceilings, cells = bench.ceilings, bench.wiring.cells
    for index, check in enumerate(plan.check):
        for point in cell_points(check, _independent_cells(bench)):
            if point.volts > ceilings.cell_volts:
                expected = f"at most the cell ceiling, {figure(ceilings.cell_volts, 'V')}"
                yield Remark(("check", index, *point.key), expected, point.shown)
        total = stack_volts(check, cells)
        if total > ceilings.total_volts:
            expected = f"at most the total ceiling, {figure(ceilings.total_volts, 'V')}"
            yield Remark(("check", index), expected, f"{figure(total, 'V')} over {cells} cells")


def plan_with_models(
    plan: PlanDescription, bench: BenchDescription, models: Models
) -> Iterator[Remark]:
    """Points that supply and meter reach, integration times that the meter has."""
    supply = models.get(bench.wiring.supply)
    if isinstance(supply, SupplyModel):
        yield from _supply_reach(plan, bench, supply)
    for model in models.values():
        if isinstance(model, MeterModel):
            yield from _integration_remarks(plan, model)
            yield from _meter_reach(plan, bench, model)


def _supply_reach(
    plan: PlanDescription, bench: BenchDescription, supply: SupplyModel
) -> Iterator[Remark]:
    per_channel = 1 if bench.wiring.topology == "series" else bench.wiring.cells
    expected = f"at most what {supply.name} reaches, {figure(supply.highest_volts, 'V')}"
    for index, check in enumerate(plan.check):
        for point in cell_points(check, _independent_cells(bench)):
            total = point.volts * per_channel
            if total > supply.highest_volts:
                over = f", {figure(total, 'V')} over the ladder" if per_channel > 1 else ""
                yield Remark(("check", index, *point.key), expected, point.shown + over)


def _independent_cells(bench: BenchDescription) -> int:
    """How many cells can have a voltage of their own."""
    return bench.wiring.cells if bench.wiring.topology == "series" else 1


def _integration_remarks(plan: PlanDescription, meter: MeterModel) -> Iterator[Remark]:
    known = sorted(one.power_line_cycles for one in meter.integration)
    if plan.effort.power_line_cycles not in known:
        choices = alternatives([figure(cycles) for cycles in known])
        yield Remark(
            ("effort", "power_line_cycles"),
            f"an integration time of {meter.name}, {choices}",
            as_toml(plan.effort.power_line_cycles),
        )


def _meter_reach(
    plan: PlanDescription, bench: BenchDescription, meter: MeterModel
) -> Iterator[Remark]:
    highest = max(one.range_value for one in meter.voltage_ranges)
    for index, check in enumerate(plan.check):
        is_cells = not isinstance(check, ThermistorCheck | NoiseSettings)
        for point in cell_points(check, _independent_cells(bench)) if is_cells else ():
            if point.volts > highest:
                expected = f"at most the highest range of {meter.name}, {figure(highest, 'V')}"
                yield Remark(("check", index, *point.key), expected, point.shown)
        total = stack_volts(check, bench.wiring.cells)
        is_stack = isinstance(check, StackTotalSettings) and bench.paths.meter_at_stack
        if is_stack and total > highest:
            expected = f"a stack within the highest range of {meter.name}, "
            yield Remark(("check", index), expected + figure(highest, "V"), figure(total, "V"))


def resistances_with_models(
    plan: PlanDescription,
    bench: BenchDescription,
    board: BoardDescription,
    models: Models,
    curves: Mapping[int, CurveDescription],
) -> Iterator[Remark]:
    """Temperatures whose resistances the decade can set and the meter can measure."""
    decades = [model for model in models.values() if isinstance(model, DecadeModel)]
    meters = [model for model in models.values() if isinstance(model, MeterModel)]
    for path, celsius, who, curve in _temperatures(plan, board, curves):
        if not curve.lowest_celsius <= celsius <= curve.highest_celsius:
            continue
        ohms = float(curve_value(curve).resistance(celsius))
        got = f"{as_toml(celsius)}, {figure(ohms, 'ohm')} at {who}"
        for decade in decades:
            if not decade.lowest_ohms <= ohms <= decade.highest_ohms:
                span = f"{figure(decade.lowest_ohms)} to {figure(decade.highest_ohms, 'ohm')}"
                yield Remark(path, f"a temperature that {decade.name} can set, {span}", got)
        if bench.paths.meter_at_decade and decades:
            yield from _ohmmeter_reach(path, ohms, got, meters)


def _ohmmeter_reach(
    path: KeyPath, ohms: float, got: str, meters: Sequence[MeterModel]
) -> Iterator[Remark]:
    for meter in meters:
        highest = max((one.range_value for one in meter.resistance_ranges), default=0.0)
        if ohms > highest:
            span = f"up to {figure(highest, 'ohm')}" if highest else "no resistance range"
            yield Remark(path, f"a resistance that {meter.name} measures, {span}", got)
