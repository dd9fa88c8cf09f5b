"""Errors become one message and an exit code; only a defect keeps its traceback."""

from __future__ import annotations

import json

import pytest

from harness.bench.stopping import StopRequested
from harness.cli.exit_codes import ExitCode
from harness.cli.translating import exit_code_of_error, translated
from harness.descriptions.faults import DescriptionFaults
from harness.errors import (
    BoardError,
    DescriptionError,
    InstrumentError,
    MisuseError,
    OutputNotOffError,
    RecordError,
    SafetyError,
    TapproofError,
)
from harness.instruments.faults import BenchBusy, RelayConflict

CODES = [
    (DescriptionError("x"), 2),
    (RecordError("x"), 2),
    (InstrumentError("x"), 4),
    (BenchBusy("x"), 4),
    (BoardError("x"), 4),
    (SafetyError("x"), 4),
    (RelayConflict("x"), 4),
    (OutputNotOffError("x"), 7),
    (MisuseError("x"), 4),
]


@pytest.mark.parametrize(("error", "code"), CODES, ids=lambda v: getattr(type(v), "__name__", ""))
def test_code_of_an_error(error: TapproofError, code: int) -> None:
    assert code == exit_code_of_error(error)


def test_faults_of_descriptions_are_bad_input() -> None:
    assert issubclass(DescriptionFaults, DescriptionError)


def ended(error: BaseException, capsys: pytest.CaptureFixture[str], as_json: bool = False):
    """Exit code, standard output and standard error of a command that raises `error`."""

    @translated
    def command(as_json: bool) -> None:
        raise error

    with pytest.raises(SystemExit) as left:
        command(as_json=as_json)
    told = capsys.readouterr()
    return left.value.code, told.out, told.err


def test_the_message_goes_to_standard_error(capsys: pytest.CaptureFixture[str]) -> None:
    error = DescriptionError("bench.toml:3: name: expected text, got 7")
    assert (2, "", "bench.toml:3: name: expected text, got 7\n") == ended(error, capsys)


def test_brackets_are_no_markup(capsys: pytest.CaptureFixture[str]) -> None:
    """Table names of TOML stand in brackets; rich would take them for styles."""
    error = DescriptionError("[bold]: expected [instruments.meter]")
    assert "[bold]: expected [instruments.meter]\n" == ended(error, capsys)[2]


def test_notes_follow_the_message(capsys: pytest.CaptureFixture[str]) -> None:
    error = InstrumentError("meter: silent")
    error.add_note("run 1234abcd is kept; see it with")
    error.add_note("    tapproof show 1234abcd")
    assert (
        "meter: silent\nrun 1234abcd is kept; see it with\n    tapproof show 1234abcd\n"
        == ended(error, capsys)[2]
    )


def test_as_json_there_is_one_object_too(capsys: pytest.CaptureFixture[str]) -> None:
    error = BoardError("board: unplugged")
    error.add_note("a note")
    code, out, err = ended(error, capsys, as_json=True)
    assert {"error": "board: unplugged", "notes": ["a note"], "exit_code": 4} == json.loads(out)
    assert (4, "board: unplugged\na note\n") == (code, err)


def test_a_stop_says_that_outputs_are_off(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = ended(StopRequested("SIGTERM"), capsys)
    assert (4, "stopped by SIGTERM: outputs are off, every point acquired so far is kept\n") == (
        code,
        err,
    )


def test_an_interrupt_outside_a_run_is_no_fail(capsys: pytest.CaptureFixture[str]) -> None:
    """Ctrl-C while the bench starts or a report is drawn: 4, not Python's or click's 1."""
    code, _, err = ended(KeyboardInterrupt(), capsys)
    assert (4, "stopped by Ctrl-C while nothing was being measured\n") == (code, err)


def test_a_defect_keeps_its_traceback_and_is_no_fail(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = ended(ZeroDivisionError("division by zero"), capsys)
    assert 70 == code
    assert err.startswith("Traceback (most recent call last):")
    assert "ZeroDivisionError: division by zero: a defect of tapproof itself, not of the" in err


def test_a_defect_as_json_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = ended(KeyError("x"), capsys, as_json=True)
    assert int(ExitCode.DEFECT) == json.loads(out)["exit_code"]


def test_a_command_that_succeeds_gives_its_result() -> None:
    assert 7 == translated(lambda: 7)()
