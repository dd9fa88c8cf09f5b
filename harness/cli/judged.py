"""Showing a judged run on the terminal or as JSON."""

from __future__ import annotations

from rich.console import Console

from harness.cli.consoles import console_for_people
from harness.cli.exit_codes import exit_code_of
from harness.cli.machine import judged_as_json, print_json
from harness.records.run_header import RunKind, RunState, local_time_text
from harness.records.store import Store
from harness.report.remarks import remarks_of
from harness.report.terminal import summary, worst_findings
from harness.run.rejudge import JudgedRun


def present_judged(store: Store, judged: JudgedRun, as_json: bool) -> int:
    """Print the run, verdict first; returns the exit code of its verdict."""
    if as_json:
        print_json(judged_as_json(judged))
    else:
        _print(store, judged, console_for_people())
    return int(exit_code_of(judged.judgement.verdict()))


def _print(store: Store, judged: JudgedRun, console: Console) -> None:
    header = judged.header
    console.print(
        summary(
            judged.judgement,
            is_simulated=header.kind is RunKind.REHEARSED,
            end_reason=header.end_reason,
            remarks=remarks_of(judged.events),
        )
    )
    console.print()
    if any(True for _ in judged.judgement.rows()):
        console.print("worst findings")
        console.print(worst_findings(judged.judgement))
        console.print()
    board = f"{header.board_name} {header.board_revision}".strip()
    serial = f", serial number {header.serial_number}" if header.serial_number else ""
    console.print(
        f"run {header.id}: board {board}{serial}, plan {judged.setup.plan.name}, bench "
        f"{header.bench_name}, began "
        f"{local_time_text(header.started_wall, header.utc_offset_seconds)}",
        markup=False,
    )
    if header.state is not RunState.FINISHED:
        kept = next((r for r in store.runs() if r.id == header.id), None)
        last = kept.last_point if kept and kept.last_point else "no point"
        reason = f": {header.end_reason}" if header.end_reason else ""
        console.print(f"{header.state.value} after {last}{reason}", markup=False)
