"""The one place where errors of the library become messages and exit codes."""

from __future__ import annotations

import functools
import json
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from typing import NoReturn, ParamSpec, TypeVar

import rich_click as click

from harness.bench.stopping import StopRequested
from harness.cli.consoles import console_for_people
from harness.cli.exit_codes import ExitCode
from harness.errors import (
    BoardError,
    DescriptionError,
    InstrumentError,
    OutputNotOffError,
    RecordError,
    RecordLostError,
    SafetyError,
    TapproofError,
    output_not_off_within,
)

Arguments = ParamSpec("Arguments")
Result = TypeVar("Result")

# First match counts, so kinds stand before their bases.
_CODES: tuple[tuple[type[TapproofError], ExitCode], ...] = (
    (OutputNotOffError, ExitCode.OUTPUT_NOT_OFF),
    (DescriptionError, ExitCode.BAD_INPUT),
    (InstrumentError, ExitCode.ABORTED),
    (BoardError, ExitCode.ABORTED),
    (SafetyError, ExitCode.ABORTED),
    (RecordLostError, ExitCode.ABORTED),
    (RecordError, ExitCode.BAD_INPUT),
)


def exit_code_of_error(error: TapproofError) -> ExitCode:
    """The exit code that stands for the kind of `error`."""
    for kind, code in _CODES:
        if isinstance(error, kind):
            return code
    return ExitCode.ABORTED


def translated(function: Callable[Arguments, Result]) -> Callable[Arguments, Result]:
    """Let a command end in one message and its exit code instead of a traceback.

    An error that nobody foresaw keeps its traceback: it is a defect of tapproof, and says so.
    """

    @functools.wraps(function)
    def command(*args: Arguments.args, **kwargs: Arguments.kwargs) -> Result:
        try:
            return function(*args, **kwargs)
        except (Exception, StopRequested, KeyboardInterrupt) as error:  # noqa: BLE001 (all are told)
            _end_by(output_not_off_within(error) or error, bool(kwargs.get("as_json")))

    return command


def _end_by(error: BaseException, as_json: bool) -> NoReturn:
    """Tell what ended the command and leave with its code."""
    if isinstance(error, TapproofError):
        _end(str(error), exit_code_of_error(error), as_json, _notes(error))
    if isinstance(error, StopRequested):
        text = f"{error}: outputs are off, every point acquired so far is kept"
        _end(text, ExitCode.ABORTED, as_json, _notes(error))
    if isinstance(error, KeyboardInterrupt):
        _end("stopped by Ctrl-C while nothing was being measured", ExitCode.ABORTED, as_json)
    if isinstance(error, BrokenPipeError):  # the reader went away (`tapproof show | head`)
        _leave(ExitCode.ABORTED)
    # In full, and with a code of its own: it must not say "fail".
    _try(lambda: traceback.print_exception(error))
    text = f"{type(error).__name__}: {error}: a defect of tapproof itself, not of the board"
    advice = "please report it with the lines above; every point acquired is kept"
    _end(text, ExitCode.DEFECT, as_json, [advice])


def _notes(error: BaseException) -> list[str]:
    return list(getattr(error, "__notes__", ()))


def _end(text: str, code: ExitCode, as_json: bool, notes: Sequence[str] = ()) -> NoReturn:
    """Print the message where it belongs, or where it still can be, and leave with `code`."""
    if as_json:
        told = {"error": text, "notes": list(notes), "exit_code": int(code)}
        _try(lambda: click.echo(json.dumps(told)))
    was_told = sys.stderr is not None and _try(lambda: _print(text, notes, stderr=True))
    if not was_told and not as_json:
        _try(lambda: _print(text, notes, stderr=False))
    _leave(code)


def _print(text: str, notes: Sequence[str], stderr: bool) -> None:
    console = console_for_people(stderr=stderr)
    console.print(text, markup=False)
    for note in notes:  # may hold a command to paste: never folded
        console.print(note, markup=False, soft_wrap=True)


def _try(tell: Callable[[], object]) -> bool:
    """Whether it could be told: a reader or a terminal may have gone, and the code must stand."""
    try:
        tell()
    except OSError:
        return False
    return True


def _leave(code: ExitCode) -> NoReturn:
    """Leave with `code`, also when what was printed finds no reader any more.

    Python flushes both outputs once more on leaving and would end with 120 if that failed.
    """
    for stream in (sys.stdout, sys.stderr):
        if stream is not None and not _try(stream.flush):
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    sys.exit(int(code))
