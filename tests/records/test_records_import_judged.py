"""An imported run is judged like a measured one, by the same check and from the records."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented_spreadsheet import BAD_CELL, CELLS, IMPORTS, POINTS_VOLTS
from records_samples import HandClock

from harness.checks.cell_accuracy import CellAccuracyCheck
from harness.descriptions.reading import read_setup
from harness.finding import Findings
from harness.metrology.decision import Verdict
from harness.records.import_columns import read_import_columns
from harness.records.importing import ImportTable, import_run
from harness.records.store import Store

FIXTURES = IMPORTS.parent
CELL_ACCURACY = 1


@pytest.fixture(params=["spreadsheet.csv", "spreadsheet-decimal-comma.csv"])
def findings(request: pytest.FixtureRequest, tmp_path: Path) -> Findings:
    setup = read_setup(
        FIXTURES / "benches" / "narrowboat-series.toml",
        FIXTURES / "boards" / "heron.toml",
        FIXTURES / "plans" / "acceptance.toml",
    )
    path = IMPORTS / request.param
    table = ImportTable(path, read_import_columns(path.with_suffix(".toml")))
    with Store.open(tmp_path) as store:
        run_id = import_run(store, setup, [table], clock=HandClock(), serial_number="H-0007")
        observations = store.observations(run_id)
    return CellAccuracyCheck().judge(observations, setup, CELL_ACCURACY)


def test_every_cell_and_point_has_a_finding(findings: Findings) -> None:
    """Twelve cells at five points in two directions, none of them undecided."""
    assert len(findings) == CELLS * len(POINTS_VOLTS) * 2
    assert not {Verdict.NOT_RUN, Verdict.CANNOT_DECIDE} & set(findings.verdict)


def test_the_bad_cell_fails_and_only_it(findings: Findings) -> None:
    """The gain error planted in cell 7 shows at the top of the range."""
    assert {row.channel for row in findings.rows() if row.verdict is not Verdict.PASS} == {BAD_CELL}
    worst = max(findings.rows(), key=lambda row: abs(row.error))
    assert (worst.channel, worst.nominal, worst.verdict) == (BAD_CELL, 3.65, Verdict.FAIL)
