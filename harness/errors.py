"""The exceptions of the harness: one base, one kind for each party that can be at fault.

A limit exceeded is a result, never an exception. Faces translate these in one place; the
library raises and never prints. Messages read: place, what was expected, what came, what to
do.
"""

from __future__ import annotations


class TapproofError(Exception):
    """Base of all errors that the harness raises on purpose."""


class DescriptionError(TapproofError):
    """A description file, a command-line value or an imported table is wrong."""


class InstrumentError(TapproofError):
    """An instrument misbehaved or is missing; names the instrument, the command, the reply."""


class BoardError(TapproofError):
    """The board is silent, unplugged, or sends what its description does not allow."""


class SafetyError(TapproofError):
    """A ceiling, an order of steps or a proof of off was about to be, or was, violated."""


class OutputNotOffError(SafetyError):
    """An output could not be proved off: switch off by hand."""


class RecordError(TapproofError):
    """A record cannot be written or read."""


class RecordLostError(RecordError):
    """The record of a run that has begun can be written no more: the run is aborted."""


class MisuseError(TapproofError):
    """Our own code or its caller used a part of the harness against its contract."""


def output_not_off_within(error: BaseException) -> OutputNotOffError | None:
    """The word that an output could not be proved off, whatever was raised on top of it.

    A screen that has gone, a port that will not close: what goes wrong later on the way out
    carries the earlier error as its context, and must never stand before it.
    """
    seen: set[int] = set()
    waiting: list[BaseException | None] = [error]
    while waiting:
        found = waiting.pop(0)
        if isinstance(found, OutputNotOffError):
            return found
        if found is not None and id(found) not in seen:
            seen.add(id(found))
            waiting += [found.__cause__, found.__context__]
    return None
