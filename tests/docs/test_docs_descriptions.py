"""docs/descriptions.md tells every key of every description as the types declare it."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from described_fields import described_below, rows_of
from pages import Snippet, page, section, snippets, table_rows

from harness.bench.capabilities import Capability
from harness.checks.registry import check_of_kind, kinds
from harness.descriptions import bench, board, curve, instrument, plan
from harness.descriptions.faults import DescriptionFaults
from harness.descriptions.reading import (
    library_names,
    read_bench,
    read_board,
    read_curve,
    read_instrument_model,
    read_plan,
    read_setup,
)
from harness.metrology.decision import Verdict
from harness.records import import_columns

PAGE = page("descriptions.md")

# Heading of the section whose table describes the class.
SECTIONS: dict[str, type] = {
    "The bench file": bench.BenchDescription,
    "`[instruments.NAME]`": bench.InstrumentEntry,
    "`[wiring]`": bench.Wiring,
    "`[paths]`": bench.Paths,
    "`[ceilings]`": bench.Ceilings,
    "`[ambient]`": bench.Ambient,
    "`[visa]`": bench.Visa,
    "`[dialogue]`, for every role": instrument.Dialogue,
    "Role `meter`": instrument.MeterModel,
    "Meter `[commands]`": instrument.MeterCommands,
    "`[[voltage_ranges]]` and `[[resistance_ranges]]`": instrument.MeterRange,
    '`accuracy."1y"`': instrument.AccuracyColumn,
    "`[[integration]]`": instrument.Integration,
    "Role `supply`": instrument.SupplyModel,
    "Supply `[commands]`": instrument.SupplyCommands,
    "Role `decade`": instrument.DecadeModel,
    "Decade `[commands]`": instrument.DecadeCommands,
    "Role `switch`": instrument.SwitchModel,
    "Switch `[commands]`": instrument.SwitchCommands,
    "The board file": board.BoardDescription,
    "`[limits]`": board.BoardLimits,
    "`[cell_inputs]`": board.CellInputs,
    "`[[thermistors]]`": board.ThermistorInput,
    "`[serial]`": board.SerialPort,
    "Forms `csv` and `key-value`": board.TextFrame,
    "Form `json-lines`": board.JsonFrame,
    "Form `binary`": board.BinaryFrame,
    "`[[frame.fields]]`": board.FrameField,
    "Thermistor curve files": curve.CurveDescription,
    "Form `steinhart-hart`": curve.SteinhartHartForm,
    "Form `beta`": curve.BetaForm,
    "Form `table`": curve.TableForm,
    "The plan file": plan.PlanDescription,
    "`[decision]`": plan.Decision,
    "`[settling]`": plan.Settling,
    "`[effort]`": plan.Effort,
    "`[limits]` of a plan": plan.LimitOverride,
    "Kind `mapping`": plan.MappingSettings,
    "Kind `cell-accuracy`": plan.CellAccuracySettings,
    "Kind `stack-total`": plan.StackTotalSettings,
    "Kind `noise`": plan.NoiseSettings,
    "Kind `thermistor-accuracy`": plan.ThermistorAccuracySettings,
    "Kind `thermistor-open-short`": plan.ThermistorFaultsSettings,
    '`feeds = "cell-accuracy"`': import_columns.CellAccuracyImport,
    "`[columns]` of cells": import_columns.CellColumns,
    '`feeds = "thermistor-accuracy"`': import_columns.ThermistorAccuracyImport,
    "`[columns]` of thermistors": import_columns.ThermistorColumns,
    "A number": import_columns.NumberColumn,
    "A voltage": import_columns.VoltageColumn,
    "A resistance": import_columns.ResistanceColumn,
    "A temperature": import_columns.TemperatureColumn,
    "A direction": import_columns.DirectionColumn,
}

ROOTS = (
    bench.BenchDescription,
    instrument.InstrumentModel,
    board.BoardDescription,
    curve.CurveDescription,
    plan.PlanDescription,
    import_columns.ImportColumns,
)

READERS = {
    "whole bench": read_bench,
    "whole instrument": read_instrument_model,
    "whole board": read_board,
    "whole curve": read_curve,
    "whole plan": read_plan,
    "whole columns": import_columns.read_import_columns,
}
WHOLE = [one for one in snippets(PAGE) if one.mark in READERS]


def test_every_described_type_has_a_section() -> None:
    """A type that a description can contain has a heading in the page."""
    reachable = set().union(*(described_below(root) for root in ROOTS))
    assert reachable == set(SECTIONS.values())


@pytest.mark.parametrize("heading", SECTIONS)
def test_table_of_keys(heading: str) -> None:
    """Keys, what they may be, and defaults are the type's own, in its order; each has a meaning."""
    rows = table_rows(section(PAGE, heading))
    expected = [(f"`{row.name}`", row.words, row.default) for row in rows_of(SECTIONS[heading])]
    assert expected == [tuple(row[:3]) for row in rows[: len(expected)]]
    assert all(len(row) == 4 and row[3] for row in rows[: len(expected)])


def test_tables_hold_no_key_that_is_gone() -> None:
    """Outside `[paths]`, where a table of needs follows, a section holds the type's rows only."""
    lengths = {
        heading: len(table_rows(section(PAGE, heading)))
        for heading in SECTIONS
        if heading not in ("`[paths]`", "`[decision]`")
    }
    assert lengths == {heading: len(rows_of(SECTIONS[heading])) for heading in lengths}


def test_needs_of_every_check() -> None:
    """The page tells what a bench needs for each kind of check, in the words of the messages."""
    said = {row[0].strip("`"): row[1] for row in table_rows(section(PAGE, "`[paths]`"))}
    assert set(kinds()) <= set(said)
    needed = " ".join(said[kind] for kind in kinds())
    assert all(
        word.value in needed for word in Capability if word is not Capability.METER_AT_DECADE
    )


@pytest.mark.parametrize("kind", kinds())
def test_needs_are_those_of_the_check(kind: str) -> None:
    """What a check asks of the demo bench stands in its row."""
    fixtures = Path(__file__).resolve().parents[2] / "fixtures"
    setup = read_setup(
        fixtures / "benches" / "narrowboat-series.toml",
        fixtures / "boards" / "heron.toml",
        fixtures / "plans" / "acceptance.toml",
    )
    index = [check.kind for check in setup.plan.check].index(kind)
    said = {row[0].strip("`"): row[1] for row in table_rows(section(PAGE, "`[paths]`"))}
    for need in check_of_kind(kind).needs(setup, index):
        assert need.value in said[kind]


def test_every_kind_of_check_has_a_section() -> None:
    """The registered checks are the described ones."""
    assert {f"Kind `{kind}`" for kind in kinds()} == {h for h in SECTIONS if h.startswith("Kind")}


def test_verdict_words_in_order() -> None:
    """All verdict words, mildest first."""
    rows = table_rows(section(PAGE, "Verdict words"))
    assert [verdict.value for verdict in Verdict] == [row[0].strip("`") for row in rows]


def test_library_is_listed() -> None:
    """Every name that can be used without a path."""
    text = section(PAGE, "How files refer to each other")
    listed = re.findall(r"`((?:generic|ntc)-[\w-]+)`", text.split("They are invented")[0])
    assert library_names() == sorted(set(listed))


@pytest.mark.parametrize("snippet", WHOLE, ids=lambda one: one.mark)
def test_whole_snippet_parses(snippet: Snippet, tmp_path: Path) -> None:
    """A snippet that is called whole is a file without faults."""
    file = tmp_path / "snippet.toml"
    file.write_text(snippet.text, encoding="utf-8")
    READERS[snippet.mark](file)


def test_there_is_a_whole_snippet_of_each_file() -> None:
    """Bench, model, board, curve, plan and columns each have a complete example."""
    assert set(READERS) == {one.mark for one in WHOLE}


def test_whole_snippets_agree(tmp_path: Path) -> None:
    """The bench, board and plan of the page can be read together."""
    texts = {one.mark.removeprefix("whole "): one.text for one in WHOLE}
    for name in ("bench", "board", "plan"):
        (tmp_path / f"{name}.toml").write_text(texts[name], encoding="utf-8")
    read_setup(*(tmp_path / f"{name}.toml" for name in ("bench", "board", "plan")))


# A snippet of part of a file: the whole example to put it into.
PARTS = [one for one in snippets(PAGE) if one.mark.startswith("part of a ")]


@pytest.mark.parametrize("snippet", PARTS, ids=lambda one: one.text.splitlines()[0])
def test_part_fits_its_whole(snippet: Snippet) -> None:
    """Tables shown alone hold only keys that their type has."""
    data = tomllib.loads(snippet.text)
    (name, table), *_ = data.items()
    if name == "instruments":
        keys = {key for entry in table.values() for key in entry}
        assert keys <= {row.name for row in rows_of(bench.InstrumentEntry)}
        return
    forms = {"csv": board.TextFrame, "key-value": board.TextFrame, "json-lines": board.JsonFrame}
    form = forms.get(table["form"], board.BinaryFrame)
    assert set(table) <= {row.name for row in rows_of(form)}
    keys = {key for entry in table["fields"] for key in entry}
    assert keys <= {row.name for row in rows_of(board.FrameField)}


def test_messages_are_real(tmp_path: Path) -> None:
    """The example messages are what the page's own board gives when it is spoilt that way."""
    text = next(one.text for one in WHOLE if one.mark == "whole board")
    text = text.replace("resolution_volts = 0.001", 'resolution_volts = "0.001"')
    text = text.replace("noise_volts = 0.0005", "noise_volt = 0.0005")
    file = tmp_path / "heron.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DescriptionFaults) as caught:
        read_board(file)
    messages = str(caught.value).replace(f"{tmp_path}/", "").splitlines()
    shown = [line[4:] for line in PAGE.splitlines() if line.startswith("    heron.toml:")]
    assert messages == shown
