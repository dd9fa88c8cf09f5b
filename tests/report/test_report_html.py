"""The HTML file: self-contained, escaped, in order, the same bytes each time."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from report_builder import (
    attributes,
    cell_accuracy,
    instruments,
    passing_judgement,
    report_input,
)

from harness.errors import RecordError
from harness.finding import CheckResult, Judgement
from harness.metrology.decision import Verdict
from harness.report.document import ReportInput
from harness.report.html import render_html, together, write_report

VOID = {"meta", "link", "br", "hr", "img", "input", "path", "use"}
LOADING = {"src", "href", "xlink:href", "srcset", "data", "action", "poster", "background"}


class Reading(HTMLParser):
    """Attributes that load something, tags, text and headings of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.loads: list[str] = []
        self.tags: list[str] = []
        self.open: list[str] = []
        self.text: list[str] = []
        self.headings: list[str] = []
        self.figures: dict[str, list[str]] = {}
        self._figure: str | None = None
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.loads += [value or "" for name, value in attrs if name in LOADING]
        if tag == "figure":
            self._figure = dict(attrs)["id"]
            self.figures[str(self._figure)] = []
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        assert self.open.pop() == tag
        if tag == "figure":
            self._figure = None

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "style":
            return
        self.text.append(data)
        if self.open and self.open[-1] in ("h1", "h2"):
            self.headings.append(data)
        if self._figure and data.strip():
            self.figures[self._figure].append(data.strip())


def test_nothing_is_loaded_from_elsewhere(page: str) -> None:
    """Every reference is one inside the document."""
    loads = Reading(page).loads
    assert loads
    assert [load for load in loads if not load.startswith("#")] == []


def test_no_style_loads_anything(page: str) -> None:
    assert "@import" not in page
    assert [u for u in re.findall(r"url\(([^)]*)\)", page) if not u.startswith("#")] == []


def test_there_is_no_script(page: str) -> None:
    tags = set(Reading(page).tags)
    assert set() == tags & {"script", "link", "iframe", "object", "embed", "img"}


def test_tags_are_closed_in_order(page: str) -> None:
    assert Reading(page).open == []


def test_ids_are_unique(page: str) -> None:
    ids = re.findall(r' id="([^"]*)"', page)
    assert len(ids) == len(set(ids))


def test_references_inside_figures_hit_something(page: str) -> None:
    ids = set(re.findall(r' id="([^"]*)"', page))
    assert set(re.findall(r'href="#([^"]*)"', page)) <= ids


def test_same_input_same_bytes(report: ReportInput, page: str) -> None:
    assert page == render_html(report).replace("\u00a0", " ")


def test_order_of_the_report(page: str) -> None:
    assert Reading(page).headings == [
        "fail",
        "What was measured",
        "Findings",
        "Figures",
        "Worst findings",
        "Uncertainty budget of the worst finding",
        "Absolute and channel to channel",
        "How it was decided",
        "Instruments",
        "Conditions",
        "Method, and what it cannot tell apart",
        "Events",
        "All findings",
        "Cautions",
    ]


AXES = {
    "error-1": ("reference voltage (V)", "error, board \u2212 reference (mV)"),
    "taps-1": ("tap number", "sum of cell errors below the tap (mV)"),
    "map-1": ("nominal voltage (V)", "error (mV)"),
    "stack-2": ("reference voltage (V)", "error (mV)"),
    "noise-3": ("code relative to the channel's median (1 code = 1 mV)", "readings"),
    "temperature-4": ("reference temperature (°C)", "error, board \u2212 reference (°C)"),
    "budget": ("standard uncertainty u (mV), share of variance (%)",),
}


@pytest.mark.parametrize(("name", "labels"), AXES.items(), ids=AXES.keys())
def test_figure_is_there_with_units_on_its_axes(
    page: str, name: str, labels: tuple[str, ...]
) -> None:
    words = Reading(page).figures[name]
    assert set(labels) <= set(words)


KEY_SENTENCES = (
    "Cell 5 reads 13.1 mV high at 3.650 V, limit 5 mV, U 0.7 mV.",
    "Thermistor 2 reads 3.88 °C high at 60.0 °C, limit 1.5 °C, U 0.11 °C.",
    "Test report of an in-house procedure; not an accredited calibration certificate.",
    "This report relates only to the item tested.",
    "SIMULATED BENCH, invented data",
    "not run: this bench lacks individual cell set-points",
    "Never make a live pack the first test of a board.",
    "2026-03-02, OVERDUE",
    "K-2026-0317",
    "All 199 findings with indication, reference and degrees of freedom",
    "Setup SHA-256",
)


@pytest.mark.parametrize("sentence", KEY_SENTENCES)
def test_key_sentence_is_there(page: str, sentence: str) -> None:
    assert sentence in page


def test_the_simulated_mark_comes_before_the_verdict(page: str) -> None:
    body = page[page.index("<body>") :]
    assert body.index("SIMULATED BENCH") < body.index("<h1")


def test_a_measured_run_carries_no_simulated_mark() -> None:
    measured = report_input(judgement=passing_judgement(), kind="measured", is_simulated=False)
    assert "SIMULATED" not in render_html(measured)


def test_what_people_typed_is_escaped() -> None:
    evil = '<script>alert("1")</script>'
    instrument = replace(instruments()[1], identity=evil, serial=evil)
    text = render_html(
        report_input(
            judgement=replace(passing_judgement(), indicative=(evil,)),
            serial_number=evil,
            operator=evil,
            station=evil,
            notes=evil,
            end_reason=evil,
            run_id=f"{evil}}}",
            instruments=(instrument,),
        )
    )
    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_what_descriptions_say_in_figures_is_escaped() -> None:
    base = report_input()
    named = replace(base.setup.board.thermistors[0], name="<script>$x</script>")
    board = replace(base.setup.board, thermistors=(named, base.setup.board.thermistors[1]))
    text = render_html(replace(base, setup=replace(base.setup, board=board)))
    assert "<script" not in text
    assert "1 &lt;script&gt;$x&lt;/script&gt;: pass" in text


def odd_judgement() -> Judgement:
    """Unsettled, missing and yes-or-no findings, a dead channel, a check cut short."""
    findings = cell_accuracy(1)
    dead, lost = findings.channel == 8, findings.channel == 11
    unsettled = findings.step == 4
    verdict = np.array([v.value for v in findings.verdict], dtype=object)
    verdict[dead], verdict[unsettled], verdict[lost] = "fail", "cannot decide", "not run"
    reason = np.where(lost, "channel 11 sent no value", np.where(unsettled, "did not settle", ""))
    odd = replace(
        findings,
        error=np.where(dead, -3.3, np.where(lost, np.nan, findings.error)),
        expanded_uncertainty=np.where(lost, np.nan, findings.expanded_uncertainty),
        verdict=tuple(Verdict(v) for v in verdict),
        reason=tuple(reason.tolist()),
    )
    swapped = attributes(
        check="mapping",
        check_index=0,
        subject="cell",
        unit="V",
        channel=(3, 4),
        point=("cell 3 moved", "cell 4 moved"),
        verdict=(Verdict.FAIL,) * 2,
        reason=("channels 3 and 4 are swapped",) * 2,
    )
    return Judgement(
        (
            CheckResult("mapping", 0, False, swapped),
            CheckResult("cell-accuracy", 1, False, odd, stopped_after=9),
            CheckResult("noise", 3, True, None, "the run ended before it"),
        ),
        indicative=("the calibration of meter was due on 2026-03-02",),
        was_aborted=True,
    )


def test_odd_findings_are_shown_and_nothing_breaks() -> None:
    odd = report_input(judgement=odd_judgement(), state="aborted", end_reason="board silent")
    text = render_html(odd).replace("\u00a0", " ")
    for sentence in (
        "The run ended before its plan did: board silent.",
        "Channels 3 and 4 are swapped.",
        "Cell 8 reads 3.3000 V low at 3.650 V",
        "did not settle.",
        "Cell 11, 14 points: not run: channel 11 sent no value.",
        "No figure: the run ended before it.",
        "the calibration of meter was due on 2026-03-02",
        "worst \u22123300",
    ):
        assert sentence in text
    assert ">nan" not in text


def test_a_run_without_any_finding_still_has_a_report() -> None:
    text = render_html(report_input(judgement=Judgement((), was_aborted=True), events=()))
    assert '<h1 class="verdict aborted">aborted</h1>' in text
    assert "None was recorded." in text


def test_numbers_keep_their_units_on_one_line() -> None:
    assert together("12.1 mV at 3.3 V, 2 sentences") == "12.1\u00a0mV at 3.3\u00a0V, 2 sentences"


def test_the_file_is_written_with_its_folder(tmp_path: Path) -> None:
    path = tmp_path / "run" / "report.html"
    report = report_input(judgement=passing_judgement())
    write_report(report, path)
    assert render_html(report) == path.read_text("utf-8")
    assert [path] == list(path.parent.iterdir())


def test_a_folder_that_is_a_file_is_a_record_error(tmp_path: Path) -> None:
    (tmp_path / "run").write_text("in the way")
    path = tmp_path / "run" / "report.html"
    with pytest.raises(RecordError, match=r"report\.html: expected to write the report here"):
        write_report(report_input(judgement=passing_judgement()), path)
