"""docs/records.md tells every table, column, word and file of the records."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from pages import ROOT, first_column, page, section, table_rows

from harness.observation import UNITS, Quantity, Source
from harness.records.export import export_run
from harness.records.run_header import RunKind, RunState
from harness.records.schema import HEAD_REVISION, metadata
from harness.records.store import Store

PAGE = page("records.md")
FROZEN = ROOT / "tests" / "records" / "frozen" / f"{HEAD_REVISION}.sqlite"

# Columns of points.csv that are keys of labels, which differ by check.
LABEL_KEYS = {"nominal_volts", "direction", "nominal_celsius", "thermistor"}


@pytest.mark.parametrize("table", metadata.tables)
def test_columns_of_every_table(table: str) -> None:
    """All columns, in the schema's order; each has a meaning."""
    columns = [column.name for column in metadata.tables[table].columns]
    rows = table_rows(section(PAGE, f"`{table}`"))[: len(columns)]
    assert columns == [row[0].strip("`") for row in rows]
    assert all(row[1] for row in rows)


def test_states_and_kinds() -> None:
    """Every state and kind of a run."""
    assert {state.value for state in RunState} == first_column(section(PAGE, "States of a run"))
    assert {kind.value for kind in RunKind} == first_column(section(PAGE, "Kinds of run"))


def test_sources() -> None:
    """Every source of an observation."""
    text = section(PAGE, "`observation`")
    assert all(f"`{source.name.lower()}`" in text for source in Source)


def test_quantities_and_units() -> None:
    """Every quantity with its unit."""
    rows = [(row[0].strip("`"), row[1]) for row in table_rows(section(PAGE, "`observation`"))]
    assert {(quantity.name.lower(), UNITS[quantity]) for quantity in Quantity} <= set(rows)


def event_kinds() -> set[str]:
    """Texts given as the kind of an event anywhere in the package."""
    callers = {"event", "_report", "report_event", "_Told"}
    found = set()
    for file in (ROOT / "harness").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and called(node) in callers:
                first = [a.value for a in node.args[:2] if isinstance(a, ast.Constant)][:1]
                found |= {value for value in first if isinstance(value, str)}
    return found


def called(call: ast.Call) -> str:
    """The last part of the name that is called."""
    function = call.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def test_kinds_of_event() -> None:
    """Every kind of event that the package writes, and the two ends of a run."""
    rows = table_rows(section(PAGE, "`event`"))
    assert event_kinds() | {"finished", "aborted"} <= {row[0].strip("`") for row in rows}


def test_event_kinds_are_found() -> None:
    """The search for kinds of event finds those of the bench, the run and the import."""
    assert {"outputs on", "outputs off", "timing", "imported"} <= event_kinds()


def test_schema_version() -> None:
    """The page names the present schema."""
    assert f"now `{HEAD_REVISION}`" in " ".join(section(PAGE, "Schema versions").split())


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the exported files of the newest run in the frozen sample."""
    folder = tmp_path_factory.mktemp("docs-export")
    copy = folder / "records.sqlite"
    copy.write_bytes(FROZEN.read_bytes())
    with Store.open_to_read(copy) as store:
        export_run(store, store.find_run("latest"), folder / "export")
    return folder / "export"


def test_export_files(exported: Path) -> None:
    """Every file that an export writes."""
    written = {file.name for file in exported.iterdir()}
    assert written == first_column(section(PAGE, "Export files"))


@pytest.mark.parametrize("name", ["observations.csv", "points.csv", "events.csv"])
def test_columns_of_exported_tables(exported: Path, name: str) -> None:
    """Every column of the exported tables but the keys of labels."""
    heading = (exported / name).read_text(encoding="utf-8").splitlines()[0]
    text = section(PAGE, f"Columns of `{name}`")
    missing = [column for column in heading.split(",") if f"`{column}`" not in text]
    assert set(missing) <= LABEL_KEYS
