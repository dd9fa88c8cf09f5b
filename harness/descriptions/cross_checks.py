"""Faults that show when a bench is read together with its models and a board.

Each function yields remarks about one file, which its docstring names. What a bench simply
does not have (a decade, individual cells) is no fault: `harness.bench.capabilities` tells it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from harness.descriptions.bench import BenchDescription
from harness.descriptions.board import BoardDescription
from harness.descriptions.faults import KeyPath, Remark, nearest_hint
from harness.descriptions.instrument import (
    AgeColumn,
    InstrumentModel,
    MeterModel,
    SupplyModel,
    SwitchModel,
)
from harness.descriptions.paths import (
    find_relay,
    named_paths,
    relay_expectation,
    switch_models,
)
from harness.descriptions.plan import PlanDescription
from harness.descriptions.plan_points import highest_stack_volts
from harness.descriptions.toml_text import alternatives, as_toml, figure

Models = Mapping[str, InstrumentModel]


def bench_with_models(bench: BenchDescription, models: Models) -> Iterator[Remark]:
    """Remarks about the bench file; `models` holds those that could be read."""
    for name, model in models.items():
        entry = bench.instruments[name]
        if entry.role != model.role:
            yield Remark(
                ("instruments", name, "model"),
                f"a model of a {entry.role}",
                f"{as_toml(entry.model)}, a {model.role}",
            )
        elif isinstance(model, MeterModel):
            yield from _column_remarks(name, entry.column, model)
        elif isinstance(model, SwitchModel):
            yield from _rating_remarks(bench, name, model)
    supply = models.get(bench.wiring.supply)
    if isinstance(supply, SupplyModel):
        yield from _supply_remarks(bench, supply)
    # With a card's model unread, its relays would all seem unknown.
    if all(name in models for name in _switch_names(bench)):
        yield from _relay_remarks(bench, switch_models(models))


def _switch_names(bench: BenchDescription) -> list[str]:
    return [name for name, entry in bench.instruments.items() if entry.role == "switch"]


def _column_remarks(name: str, column: AgeColumn, model: MeterModel) -> Iterator[Remark]:
    ranges = (*model.voltage_ranges, *model.resistance_ranges)
    common = [age for age in AgeColumn if all(age in one.accuracy for one in ranges)]
    if column in common:
        return
    known = alternatives([as_toml(age.value) for age in common])
    expected = f"a column that every range of {model.name} has"
    yield Remark(
        ("instruments", name, "column"),
        f"{expected}, {known}" if known else expected,
        as_toml(column.value),
    )


def _rating_remarks(bench: BenchDescription, name: str, model: SwitchModel) -> Iterator[Remark]:
    """Any contact may meet the whole stack, whatever it is meant to switch."""
    total = stack_ceiling_volts(bench)
    if model.contact_rating_volts < total:
        yield Remark(
            ("instruments", name, "model"),
            f"contacts rated for the stack's ceiling, {figure(total, 'V')}",
            figure(model.contact_rating_volts, "V"),
        )


def stack_ceiling_volts(bench: BenchDescription) -> float:
    """The highest voltage the whole stack can be given, volts."""
    return min(bench.ceilings.total_volts, bench.ceilings.cell_volts * bench.wiring.cells)


def _supply_remarks(bench: BenchDescription, supply: SupplyModel) -> Iterator[Remark]:
    for index, channel in enumerate(bench.wiring.channels):
        if channel > supply.channels:
            plural = "s" if supply.channels > 1 else ""
            expected = f"a channel of {supply.name}, which has {supply.channels} channel{plural}"
            yield Remark(("wiring", "channels", index), expected, as_toml(channel))
    is_series = bench.wiring.topology == "series"
    protection = bench.ceilings.cell_volts if is_series else stack_ceiling_volts(bench)
    if protection > supply.highest_protection_volts:
        yield Remark(
            ("ceilings", "cell_volts" if is_series else "total_volts"),
            f"at most the highest over-voltage protection of {supply.name}, "
            f"{figure(supply.highest_protection_volts, 'V')}",
            figure(protection, "V"),
        )
    if bench.ceilings.channel_amperes > supply.highest_amperes:
        yield Remark(
            ("ceilings", "channel_amperes"),
            f"at most the highest current of {supply.name}, {figure(supply.highest_amperes, 'A')}",
            as_toml(bench.ceilings.channel_amperes),
        )


def _relay_remarks(
    bench: BenchDescription, switches: Mapping[str, SwitchModel]
) -> Iterator[Remark]:
    lists: dict[KeyPath, tuple[str, ...]] = dict(named_paths(bench.paths))
    for index, group in enumerate(bench.paths.never_together):
        lists["paths", "never_together", index] = group
    known = [relay for model in switches.values() for relay in model.relays]
    for path, relays in lists.items():
        for index, relay in enumerate(relays):
            if find_relay(relay, switches) is None:
                yield Remark(
                    (*path, index),
                    relay_expectation(switches),
                    as_toml(relay),
                    nearest_hint(relay, known) if len(switches) == 1 else "",
                )


def bench_with_board(bench: BenchDescription, board: BoardDescription) -> Iterator[Remark]:
    """Remarks about the bench file: it must have the board's cells and thermistors."""
    if bench.wiring.cells != board.cells:
        expected = f"the {board.cells} cells of board {board.name}"
        yield Remark(("wiring", "cells"), expected, as_toml(bench.wiring.cells))
    paths, thermistors = len(bench.paths.decade_at_thermistor), len(board.thermistors)
    if thermistors and paths not in (0, thermistors):
        expected = f"{thermistors} paths, one a thermistor of board {board.name}"
        yield Remark(("paths", "decade_at_thermistor"), expected, str(paths))


def ladder_current(
    bench: BenchDescription, board: BoardDescription, plan: PlanDescription
) -> Iterator[Remark]:
    """Remarks about the bench file: the ladder's own current must leave room for the board's."""
    wiring = bench.wiring
    if wiring.topology != "ladder" or wiring.rung_ohms is None:
        return
    total = highest_stack_volts(plan, board.cells)
    chain = total / (wiring.rung_ohms * wiring.cells)
    needed = chain + board.cell_inputs.supply_amperes
    if needed > bench.ceilings.channel_amperes:
        yield Remark(
            ("ceilings", "channel_amperes"),
            f"at least {figure(needed, 'A')}, which ladder and board draw at {figure(total, 'V')}",
            as_toml(bench.ceilings.channel_amperes),
        )
