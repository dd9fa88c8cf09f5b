"""Consoles for people: folded at the edge of a terminal, left unfolded in a file or a pipe."""

from __future__ import annotations

import os
from typing import NoReturn

from rich.console import Console

# A file has no edge. Sentences stay on one line up to this, so that they can be searched.
FILE_COLUMNS = 200


class PeopleConsole(Console):
    """A console that leaves it to its caller what a broken pipe means."""

    def on_broken_pipe(self) -> NoReturn:
        """Raise instead of ending the program with 1, which here says that a board failed."""
        raise BrokenPipeError


def console_for_people(stderr: bool = False) -> Console:
    """A console on standard output, or on standard error.

    Colours stay off where `NO_COLOR` is set and where there is no terminal; `COLUMNS` counts.
    """
    console = PeopleConsole(stderr=stderr, highlight=False)
    if not console.is_terminal and "COLUMNS" not in os.environ:
        console.width = FILE_COLUMNS
    return console
