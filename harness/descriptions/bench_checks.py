"""Faults inside one bench file that types alone cannot tell: wiring, ceilings, paths."""

from __future__ import annotations

from collections.abc import Iterator

from harness.descriptions.bench import HAZARDOUS_VOLTS, BenchDescription
from harness.descriptions.faults import KeyPath, Remark, nearest_hint
from harness.descriptions.model_checks import repeats
from harness.descriptions.paths import named_paths
from harness.descriptions.toml_text import alternatives, as_toml, figure

# Of these roles a run can drive one; relay cards may be several.
SINGLE_ROLES = ("supply", "meter", "decade")


def bench_remarks(bench: BenchDescription) -> Iterator[Remark]:
    """All remarks about one bench."""
    yield from _instrument_remarks(bench)
    yield from _supply_remarks(bench)
    yield from _channel_remarks(bench)
    yield from _rung_remarks(bench)
    yield from _ceiling_remarks(bench)
    yield from _path_count_remarks(bench)
    yield from _path_role_remarks(bench)
    yield from _together_remarks(bench)


def _instrument_remarks(bench: BenchDescription) -> Iterator[Remark]:
    resources: dict[str, str] = {}
    roles: dict[str, str] = {}
    for name, entry in bench.instruments.items():
        path: KeyPath = ("instruments", name)
        first = resources.setdefault(entry.resource.upper(), name)
        if first != name:
            expected = f"a resource that {as_toml(first)} does not have"
            yield Remark((*path, "resource"), expected, as_toml(entry.resource))
        first = roles.setdefault(entry.role, name)
        if first != name and entry.role in SINGLE_ROLES:
            expected = f"one {entry.role} on a bench, {as_toml(first)}"
            yield Remark((*path, "role"), expected, f"a second {entry.role}")
        if entry.calibrated and entry.due and entry.calibrated > entry.due:
            expected = f"a date after calibrated, {entry.calibrated.isoformat()}"
            yield Remark((*path, "due"), expected, as_toml(entry.due))


def _supply_remarks(bench: BenchDescription) -> Iterator[Remark]:
    supplies = [name for name, entry in bench.instruments.items() if entry.role == "supply"]
    if bench.wiring.supply in supplies:
        return
    known = alternatives([as_toml(name) for name in supplies])
    yield Remark(
        ("wiring", "supply"),
        f"the name of a supply, {known}" if supplies else "the name of a supply on this bench",
        as_toml(bench.wiring.supply),
        nearest_hint(bench.wiring.supply, supplies),
    )


def _channel_remarks(bench: BenchDescription) -> Iterator[Remark]:
    wiring, path = bench.wiring, ("wiring", "channels")
    wanted = wiring.cells if wiring.topology == "series" else 1
    if len(wiring.channels) != wanted:
        each = "one a cell" if wiring.topology == "series" else "across the whole ladder"
        plural = "s" if wanted > 1 else ""
        yield Remark(path, f"{wanted} channel{plural}, {each}", str(len(wiring.channels)))
    yield from repeats(path, wiring.channels, "every channel once")


def _rung_remarks(bench: BenchDescription) -> Iterator[Remark]:
    wiring = bench.wiring
    if wiring.topology == "ladder" and wiring.rung_ohms is None:
        yield Remark(("wiring", "rung_ohms"), "the resistance of a rung in ohms", "nothing")
    if wiring.topology == "series":
        for key in ("rung_ohms", "rung_shunt_ratio"):
            if getattr(wiring, key) is not None:
                value = as_toml(getattr(wiring, key))
                yield Remark(("wiring", key), "no rungs on a series bench", value)
        if bench.paths.rung_shunt:
            got = f"{len(bench.paths.rung_shunt)} paths"
            yield Remark(("paths", "rung_shunt"), "no rungs on a series bench", got)
        return
    if bench.paths.rung_shunt and wiring.rung_shunt_ratio is None:
        expected = "the resistance of a shunt in rungs, for paths.rung_shunt"
        yield Remark(("wiring", "rung_shunt_ratio"), expected, "nothing")
    if wiring.rung_shunt_ratio is not None and not bench.paths.rung_shunt:
        expected = f"{wiring.cells} paths, for wiring.rung_shunt_ratio"
        yield Remark(("paths", "rung_shunt"), expected, "nothing")


def _ceiling_remarks(bench: BenchDescription) -> Iterator[Remark]:
    ceilings = bench.ceilings
    if ceilings.total_volts > HAZARDOUS_VOLTS and not ceilings.hazardous_voltage_declared:
        yield Remark(
            ("ceilings", "total_volts"),
            f"at most {figure(HAZARDOUS_VOLTS, 'V')} without hazardous_voltage_declared = true",
            as_toml(ceilings.total_volts),
        )
    if ceilings.cell_volts > ceilings.total_volts:
        yield Remark(
            ("ceilings", "cell_volts"),
            f"at most total_volts, {figure(ceilings.total_volts, 'V')}",
            as_toml(ceilings.cell_volts),
        )
    if ceilings.off_volts >= ceilings.total_volts:
        yield Remark(
            ("ceilings", "off_volts"),
            f"less than total_volts, {figure(ceilings.total_volts, 'V')}",
            as_toml(ceilings.off_volts),
        )


def _path_count_remarks(bench: BenchDescription) -> Iterator[Remark]:
    for key in ("meter_at_cell", "rung_shunt"):
        found = len(getattr(bench.paths, key))
        if found not in (0, bench.wiring.cells):
            yield Remark(("paths", key), f"{bench.wiring.cells} paths, one a cell", str(found))


def _path_role_remarks(bench: BenchDescription) -> Iterator[Remark]:
    """A path to an instrument that is not there is a slip, not a lack of the bench."""
    roles = {entry.role for entry in bench.instruments.values()}
    for key, needed in (
        ("meter_at_cell", ("meter",)),
        ("meter_at_stack", ("meter",)),
        ("meter_at_decade", ("meter", "decade")),
        ("decade_at_thermistor", ("decade",)),
    ):
        for role in needed:
            if getattr(bench.paths, key) and role not in roles:
                expected = f"a {role} among the instruments for it"
                yield Remark(("paths", key), expected, "none")


def _together_remarks(bench: BenchDescription) -> Iterator[Remark]:
    groups = bench.paths.never_together
    for index, group in enumerate(groups):
        path: KeyPath = ("paths", "never_together", index)
        if len(set(group)) < 2:
            yield Remark(path, "at least 2 relays", as_toml(group))
    for path, relays in named_paths(bench.paths).items():
        yield from repeats(path, relays, "every relay of a path once")
        for index, group in enumerate(groups):
            clash = [relay for relay in dict.fromkeys(relays) if relay in group]
            if len(clash) > 1:
                expected = f"at most one relay of never_together[{index}]"
                got = alternatives([as_toml(relay) for relay in clash], "and")
                yield Remark(path, expected, got)
