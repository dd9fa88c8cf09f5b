"""Faults inside one instrument model or curve file that types alone cannot tell.

Each function takes a validated value and yields remarks about its own file.
"""

from __future__ import annotations

import re
import string
from collections.abc import Iterator, Mapping
from itertools import pairwise

import numpy as np

from harness.descriptions.curve import (
    BetaForm,
    CurveDescription,
    SteinhartHartForm,
    TableForm,
)
from harness.descriptions.curve_values import curve_value
from harness.descriptions.faults import KeyPath, Remark
from harness.descriptions.instrument import (
    DecadeModel,
    InstrumentModel,
    MeterModel,
    SupplyModel,
    SwitchModel,
)
from harness.descriptions.toml_text import alternatives, as_toml, figure

ABSOLUTE_ZERO_CELSIUS = -273.15

# The holes that each command template may have; `HOLES_NEEDED` says which it must have.
HOLES_ALLOWED: Mapping[str, tuple[str, ...]] = {
    "meter": ("range", "power_line_cycles", "count"),
    "supply": ("channel", "volts", "amperes"),
    "decade": ("ohms",),
    "switch": ("channels",),
}
HOLES_NEEDED: Mapping[tuple[str, str], str] = {
    ("meter", "set_voltage_cycles"): "power_line_cycles",
    ("meter", "set_resistance_cycles"): "power_line_cycles",
    ("meter", "set_count"): "count",
    ("supply", "select"): "channel",
    ("supply", "set_voltage"): "volts",
    ("supply", "set_current"): "amperes",
    ("supply", "set_protection"): "volts",
    ("decade", "set_resistance"): "ohms",
    ("switch", "close"): "channels",
    ("switch", "open"): "channels",
    ("switch", "is_closed"): "channels",
}


def instrument_remarks(model: InstrumentModel) -> Iterator[Remark]:
    """All remarks about one instrument model."""
    yield from _identity_remarks(model.identity)
    yield from _command_remarks(model)
    if isinstance(model, MeterModel):
        yield from _meter_remarks(model)
    if isinstance(model, SupplyModel):
        yield from _supply_remarks(model)
    if isinstance(model, DecadeModel) and model.lowest_ohms >= model.highest_ohms:
        expected = f"less than highest_ohms, {figure(model.highest_ohms, 'ohm')}"
        yield Remark(("lowest_ohms",), expected, as_toml(model.lowest_ohms))
    if isinstance(model, SwitchModel):
        yield from repeats(("relays",), model.relays, "every relay once")


def _identity_remarks(identity: str) -> Iterator[Remark]:
    try:
        re.compile(identity)
    except re.error as error:
        yield Remark(("identity",), "a regular expression", f"{as_toml(identity)} ({error.msg})")


def _command_remarks(model: InstrumentModel) -> Iterator[Remark]:
    allowed = HOLES_ALLOWED[model.role]
    for name, template in vars(model.commands).items():
        if not isinstance(template, str) or not template:
            continue
        path: KeyPath = ("commands", name)
        holes = holes_of(template)
        if holes is None or not set(holes) <= set(allowed):
            choice = alternatives([f"{{{hole}}}" for hole in allowed])
            yield Remark(path, f"a command with no holes but {choice}", as_toml(template))
            continue
        needed = HOLES_NEEDED.get((model.role, name))
        if needed and needed not in holes:
            yield Remark(path, f"a command with {{{needed}}}", as_toml(template))


def holes_of(template: str) -> list[str] | None:
    """The names in braces; None when the braces do not match."""
    try:
        return [name for _, name, _, _ in string.Formatter().parse(template) if name is not None]
    except ValueError:
        return None


def _meter_remarks(model: MeterModel) -> Iterator[Remark]:
    for table in ("voltage_ranges", "resistance_ranges"):
        values = tuple(one.range_value for one in getattr(model, table))
        yield from repeats((table,), values, "every range once", key="range_value")
    cycles = tuple(one.power_line_cycles for one in model.integration)
    yield from repeats(
        ("integration",), cycles, "every integration time once", key="power_line_cycles"
    )


def _supply_remarks(model: SupplyModel) -> Iterator[Remark]:
    """Several channels must be told apart, and protection must lie above what it protects."""
    has_channel = "{channel}" in model.commands.set_voltage
    if model.channels > 1 and not model.commands.select and not has_channel:
        yield Remark(
            ("commands", "select"),
            f"a command with {{channel}} for {model.channels} channels",
            as_toml(model.commands.select),
        )
    if model.highest_protection_volts < model.highest_volts:
        yield Remark(
            ("highest_protection_volts",),
            f"at least highest_volts, {figure(model.highest_volts, 'V')}",
            as_toml(model.highest_protection_volts),
        )


def repeats(
    path: KeyPath, values: tuple[object, ...], expected: str, key: str = ""
) -> Iterator[Remark]:
    """A remark for each entry of a list that is there already."""
    for index, value in enumerate(values):
        if value in values[:index]:
            tail: KeyPath = (index, key) if key else (index,)
            yield Remark((*path, *tail), expected, f"{as_toml(value)} again")


def curve_remarks(description: CurveDescription) -> Iterator[Remark]:
    """All remarks about one thermistor curve."""
    low, high = description.lowest_celsius, description.highest_celsius
    if low >= high:
        expected = f"less than highest_celsius, {figure(high, 'degC')}"
        yield Remark(("lowest_celsius",), expected, as_toml(low))
    if low <= ABSOLUTE_ZERO_CELSIUS:
        yield Remark(("lowest_celsius",), "more than -273.15 degC", as_toml(low))
    form = description.curve
    if isinstance(form, BetaForm) and form.reference_celsius <= ABSOLUTE_ZERO_CELSIUS:
        yield Remark(
            ("curve", "reference_celsius"),
            "more than -273.15 degC",
            as_toml(form.reference_celsius),
        )
    if isinstance(form, SteinhartHartForm) and ABSOLUTE_ZERO_CELSIUS < low < high:
        yield from _coefficient_remarks(description)
    if isinstance(form, TableForm):
        yield from _table_remarks(form)
        yield from _table_range_remarks(form, low, high)


def _coefficient_remarks(description: CurveDescription) -> Iterator[Remark]:
    """Coefficients of the wrong sign or power give no resistance, or one that rises."""
    low, high = description.lowest_celsius, description.highest_celsius
    with np.errstate(all="ignore"):
        cold, warm = curve_value(description).resistance([low, high])
    if not (np.isfinite(cold) and np.isfinite(warm) and cold > warm > 0):
        yield Remark(
            ("curve",),
            f"coefficients whose resistance falls from {figure(low, 'degC')} to "
            f"{figure(high, 'degC')}",
            f"{figure(cold, 'ohm')} and {figure(warm, 'ohm')}",
        )


def _table_remarks(form: TableForm) -> Iterator[Remark]:
    if form.celsius[0] <= ABSOLUTE_ZERO_CELSIUS:
        expected = "more than -273.15 degC"
        yield Remark(("curve", "celsius", 0), expected, as_toml(form.celsius[0]))
    if len(form.celsius) != len(form.ohms):
        expected = f"{len(form.celsius)} resistances, one a temperature"
        yield Remark(("curve", "ohms"), expected, str(len(form.ohms)))
    for index, (before, after) in enumerate(pairwise(form.celsius), 1):
        if after <= before:
            expected = f"temperatures that rise, above {figure(before, 'degC')}"
            yield Remark(("curve", "celsius", index), expected, as_toml(after))
    for index, (before, after) in enumerate(pairwise(form.ohms), 1):
        if after >= before:
            expected = f"resistances that fall, below {figure(before, 'ohm')}"
            yield Remark(("curve", "ohms", index), expected, as_toml(after))


def _table_range_remarks(form: TableForm, low: float, high: float) -> Iterator[Remark]:
    """The curve may not claim temperatures that its table does not reach."""
    coldest, warmest = min(form.celsius), max(form.celsius)
    if low < coldest:
        expected = f"at least {figure(coldest, 'degC')}, the table's first row"
        yield Remark(("lowest_celsius",), expected, as_toml(low))
    if high > warmest:
        expected = f"at most {figure(warmest, 'degC')}, the table's last row"
        yield Remark(("highest_celsius",), expected, as_toml(high))
