"""One TOML file: its text, its data, and faults placed in it.

Reading is the only input here; nothing is written, and nothing is kept between calls.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from harness.descriptions.faults import DescriptionFaults, Fault, Remark, path_text
from harness.descriptions.locating import line_of
from harness.descriptions.toml_text import as_toml

_PLACE_IN_MESSAGE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_KEY_OF_LINE = re.compile(r"^\s*([^=#\[\]]+?)\s*=|^\s*(\[\[?[^\]]+\]\]?)")
_INLINE_KEY = re.compile(r"inline table key '(.+)'")
_SECOND_TIME = re.compile(r"overwrite|twice|duplicate|already|mutate", re.IGNORECASE)


@dataclass(frozen=True)
class Document:
    """A file that is TOML, whatever it says."""

    file: str
    text: str
    data: dict[str, Any] = field(hash=False)

    def fault(self, remark: Remark) -> Fault:
        """`remark` with this file's name and the line of its key."""
        return Fault(
            self.file,
            line_of(self.text, remark.path),
            path_text(remark.path),
            remark.expected,
            remark.got,
            remark.hint,
        )

    def faults(self, remarks: Iterable[Remark]) -> list[Fault]:
        """All `remarks`, placed."""
        return [self.fault(remark) for remark in remarks]


def load_document(path: Path, what: str) -> Document:
    """The TOML document in the file at `path`.

    Parameters
    ----------
    path : the file; its text as given becomes the name in messages.
    what : what the file should hold, e.g. "a bench description", for messages.

    Raises
    ------
    DescriptionFaults : no such file, no readable file, not UTF-8, no TOML, or nothing in it.
    """
    file = str(path)
    text = _decoded(file, _content(path, what))
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DescriptionFaults([_syntax_fault(file, text, str(error))]) from error
    if not data:
        raise DescriptionFaults([Fault(file, None, "", what, "an empty file")])
    return Document(file, text, data)


def _content(path: Path, what: str) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        got = "no such file"
    except (IsADirectoryError, NotADirectoryError):
        got = "a directory" if path.is_dir() else "no such file"
    except OSError as error:
        # On Windows a directory answers "permission denied" when it is opened.
        got = "a directory" if path.is_dir() else f"an unreadable file ({error.strerror})"
    raise DescriptionFaults([Fault(str(path), None, "", what, got)])


def _decoded(file: str, content: bytes) -> str:
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        got = f"byte 0x{content[error.start]:02X}"
        hint = "save the file as UTF-8"
        raise DescriptionFaults([Fault(file, line, "", "UTF-8 text", got, hint)]) from error
    return text.removeprefix("\ufeff").replace("\r\n", "\n")


def _syntax_fault(file: str, text: str, message: str) -> Fault:
    found = _PLACE_IN_MESSAGE.search(message)
    is_placed = found is not None and found[1] is not None
    line = int(found[1]) if found and is_placed else text.rstrip("\n").count("\n") + 1
    what = _PLACE_IN_MESSAGE.sub("", message)
    if _SECOND_TIME.search(what):
        return _repeated_key(file, text, line, what)
    place = f"column {found[2]}" if found and is_placed else "the end of the file"
    got = f"an error at {place}: {what[:1].lower()}{what[1:]}"
    return Fault(file, line, "", "valid TOML", got)


def _repeated_key(file: str, text: str, line: int, what: str) -> Fault:
    """A key or table that is there already; tomllib points at the end of the second value."""
    expected = "every key and table once"
    inline = _INLINE_KEY.search(what)
    if inline:
        return Fault(file, line, "", expected, f'"{inline[1]}" again')
    lines = text.split("\n")
    for number in range(min(line, len(lines)), 0, -1):
        key = _KEY_OF_LINE.match(lines[number - 1])
        if key:
            return Fault(file, number, "", expected, f"{key[2] or as_toml(key[1])} again")
    return Fault(file, line, "", expected, "one again")
