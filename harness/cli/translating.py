"""The one place where errors of the library become messages and exit codes."""

from __future__ import annotations

import functools
import json
import sys
from collections.abc import Callable
from typing import NoReturn, ParamSpec, TypeVar

import rich_click as click
from rich.console import Console

from harness.bench.stopping import StopRequested
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
    """Let a command end in one message and its exit code instead of a traceback."""

    @functools.wraps(function)
    def command(*args: Arguments.args, **kwargs: Arguments.kwargs) -> Result:
        try:
            return function(*args, **kwargs)
        except TapproofError as error:
            _end(str(error), exit_code_of_error(error), bool(kwargs.get("as_json")), error)
        except StopRequested as stop:
            text = f"{stop}: outputs are off, every point acquired so far is kept"
            _end(text, ExitCode.ABORTED, bool(kwargs.get("as_json")), None)
        except BrokenPipeError:
            # The reader of our output went away (`tapproof runs | head`): nothing to say to.
            sys.stderr.close()
            sys.exit(ExitCode.PASS)

    return command


def _end(text: str, code: ExitCode, as_json: bool, error: TapproofError | None) -> NoReturn:
    """Print the message where it belongs and leave with `code`."""
    notes = list(getattr(error, "__notes__", ()))
    if as_json:
        click.echo(json.dumps({"error": text, "notes": notes, "exit_code": int(code)}))
    console = Console(stderr=True, highlight=False, soft_wrap=True)
    console.print("\n".join([text, *notes]), markup=False)
    sys.exit(int(code))
