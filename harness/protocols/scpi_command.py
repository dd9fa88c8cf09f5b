"""Commands that the controller sends: templates filled in, several joined into one message.

Templates come from instrument descriptions; their holes are names in braces. What fills a hole
never carries a character that would start another command.
"""

from __future__ import annotations

import string
from collections.abc import Iterable, Mapping, Sequence

from harness.errors import DescriptionError, MisuseError
from harness.protocols.scpi_numbers import format_number

Filling = float | int | str | Sequence[str]

# A text in a hole must stay inside its command: these end it or begin the next one.
_BREAKING = frozenset(";\n\r\0")


def holes(template: str) -> tuple[str, ...]:
    """The names of the holes of `template`, in order.

    Raises
    ------
    DescriptionError : an unbalanced brace, or a hole that is no plain name.
    """
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        raise DescriptionError(f'command template "{template}": {error}') from None
    names: list[str] = []
    for _, name, specification, conversion in parts:
        if name is None:
            continue
        if not name.isidentifier() or specification or conversion:
            raise DescriptionError(
                f'command template "{template}": expected a plain name in braces, got "{name}"'
            )
        names.append(name)
    return tuple(names)


def fill(template: str, offered: Mapping[str, Filling] | None = None, **needed: Filling) -> str:
    """`template` with its holes filled.

    Parameters
    ----------
    needed : values whose holes must be there: a set-point that its command lacks would be
        silently lost.
    offered : values whose holes may be there, such as the channel of a supply that may be
        selected by a command of its own.

    Numbers are written so that they read back as the same float; sequences are joined with
    commas, as in a channel list.

    Raises
    ------
    DescriptionError : a hole is missing from the template, or is none of those on offer.
    MisuseError : a value is not finite, or a text holds a character that ends a command.

    Examples
    --------
    >>> fill("VOLT {volts}", volts=3.3)
    'VOLT 3.3'
    >>> fill("VOLT {volts},(@{channel})", offered={"channel": 2}, volts=3)
    'VOLT 3,(@2)'
    """
    values: dict[str, Filling] = {**(offered or {}), **needed}
    present = set(holes(template))
    lost = sorted(needed.keys() - present)
    strange = sorted(present - values.keys())
    if lost:
        raise DescriptionError(
            f'command template "{template}": expected the hole {{{lost[0]}}}, '
            "without it the value would not be sent"
        )
    if strange:
        known = ", ".join(f"{{{name}}}" for name in sorted(values)) or "none"
        raise DescriptionError(
            f'command template "{template}": unknown hole {{{strange[0]}}}, '
            f"expected one of: {known}"
        )
    return template.format(**{name: _written(name, values[name]) for name in present})


def _written(name: str, value: Filling) -> str:
    if isinstance(value, str):
        text = value
    elif isinstance(value, Sequence):
        text = ",".join(value)
    else:
        try:
            return format_number(value)
        except ValueError as error:
            raise MisuseError(f"{name}: {error}") from None
    if _BREAKING & set(text):
        raise MisuseError(f"{name}: expected a text that stays in one command, got {text!r}")
    return text


def join_commands(commands: Iterable[str]) -> str:
    """One compound message of several commands; empty ones are left out.

    Every command but the first gets a leading colon, so that each starts at the root of the
    command tree; common commands (`*...`) never get one (IEEE 488.2-1992, 7.3.3; SCPI-1999
    vol. 1, 6.2.4).

    Examples
    --------
    >>> join_commands(["VOLT 3.3", "CURR 0.1", "*OPC?"])
    'VOLT 3.3;:CURR 0.1;*OPC?'
    """
    stripped = [command.strip().strip(";") for command in commands]
    present = [command for command in stripped if command]
    return ";".join(
        command if index == 0 or command[0] in "*:" else f":{command}"
        for index, command in enumerate(present)
    )
