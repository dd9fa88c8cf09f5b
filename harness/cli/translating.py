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
    SafetyError,
    TapproofError,
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
        as_json = bool(kwargs.get("as_json"))
        try:
            return function(*args, **kwargs)
        except TapproofError as error:
            _end(str(error), exit_code_of_error(error), as_json, _notes(error))
        except StopRequested as stop:
            text = f"{stop}: outputs are off, every point acquired so far is kept"
            _end(text, ExitCode.ABORTED, as_json, _notes(stop))
        except KeyboardInterrupt:
            _end("stopped by Ctrl-C while nothing was being measured", ExitCode.ABORTED, as_json)
        except BrokenPipeError:
            _end_unheard()
        except Exception as error:  # noqa: BLE001 (shown in full; the exit code must not say "fail")
            traceback.print_exc()
            text = f"{type(error).__name__}: {error}: a defect of tapproof itself, not of the board"
            advice = "please report it with the lines above; every point acquired is kept"
            _end(text, ExitCode.DEFECT, as_json, [advice])

    return command


def _notes(error: BaseException) -> list[str]:
    return list(getattr(error, "__notes__", ()))


def _end(text: str, code: ExitCode, as_json: bool, notes: Sequence[str] = ()) -> NoReturn:
    """Print the message where it belongs and leave with `code`."""
    if as_json:
        click.echo(json.dumps({"error": text, "notes": list(notes), "exit_code": int(code)}))
    console = console_for_people(stderr=True)
    console.print(text, markup=False)
    for note in notes:  # may hold a command to paste: never folded
        console.print(note, markup=False, soft_wrap=True)
    sys.exit(int(code))


def _end_unheard() -> NoReturn:
    """The reader of our output went away (`tapproof show | head`): leave without a word.

    Python flushes standard output once more on leaving; it must find something to write to.
    """
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(int(ExitCode.ABORTED))
