"""Of an output that is not off one hears, with its exit code, whatever else has gone."""

from __future__ import annotations

import errno
import sys
from typing import NoReturn

import pytest

from harness.cli.translating import exit_code_of_error, translated
from harness.errors import OutputNotOffError, RecordLostError, output_not_off_within

WORDS = "supply: switch off by hand"


class Gone:
    """A stream whose reader or terminal has gone."""

    encoding = "utf-8"

    def __init__(self, error: OSError, backed_by: object) -> None:
        self._error = error
        self._backed_by = backed_by

    def write(self, text: str) -> NoReturn:
        raise self._error

    def flush(self) -> None:
        """Nothing was taken, so nothing is left."""

    def isatty(self) -> bool:
        return False


GONE = [BrokenPipeError(errno.EPIPE, "no reader"), OSError(errno.EIO, "no terminal")]


def hidden_by(later: BaseException) -> None:
    """The screen, or anything else, fails while the words are under way."""
    try:
        raise OutputNotOffError(WORDS)
    except OutputNotOffError:
        raise later  # noqa: B904 (as it happens: nobody links the two)


@translated
def command(later: BaseException, as_json: bool = False) -> None:
    hidden_by(later)


@pytest.mark.parametrize("later", [*GONE, ValueError("x"), KeyboardInterrupt()], ids=repr)
def test_what_is_raised_later_hides_neither_code_nor_words(
    later: BaseException, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        command(later)
    assert (7, f"{WORDS}\n") == (left.value.code, capsys.readouterr().err)


@pytest.mark.parametrize("gone", GONE, ids=repr)
def test_without_standard_error_standard_output_has_the_words(
    gone: OSError, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stderr", Gone(gone, sys.stderr))
    with pytest.raises(SystemExit) as left:
        command(gone)
    assert (7, f"{WORDS}\n") == (left.value.code, capsys.readouterr().out)


def test_without_any_standard_error_standard_output_has_the_words(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As after `2>&-`."""
    monkeypatch.setattr(sys, "stderr", None)
    with pytest.raises(SystemExit) as left:
        command(ValueError("x"))
    assert (7, f"{WORDS}\n") == (left.value.code, capsys.readouterr().out)


@pytest.mark.parametrize("gone", GONE, ids=repr)
def test_without_anything_to_print_on_the_code_stands(
    gone: OSError, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stderr", Gone(gone, sys.stderr))
    monkeypatch.setattr(sys, "stdout", Gone(gone, sys.stdout))
    with pytest.raises(SystemExit) as left:
        command(gone, as_json=True)
    assert 7 == left.value.code


def test_the_cause_is_looked_through_as_well() -> None:
    first = OutputNotOffError(WORDS)
    later = ValueError("x")
    later.__cause__ = KeyError("y")
    later.__cause__.__context__ = first
    assert first is output_not_off_within(later)


def test_errors_that_hide_nothing_hide_nothing() -> None:
    error = ValueError("x")
    error.__context__ = error.__cause__ = KeyError("y")
    assert output_not_off_within(error) is None


def test_a_record_lost_in_a_run_aborts_it() -> None:
    assert 4 == exit_code_of_error(RecordLostError("disk full"))
