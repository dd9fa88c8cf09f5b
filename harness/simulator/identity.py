"""An answer to `*IDN?` that the identity pattern of an instrument model accepts."""

from __future__ import annotations

import re

from harness.errors import DescriptionError

# Parts of regular expressions, in order, and a text that each of them matches.
_SIMPLE_PARTS = (
    (r"\\d[+*]?|\[0-9\][+*]?", "1"),
    (r"\\s[+*]?", " "),
    (r"\\w[+*]?", "a"),
    (r"\\A|\\Z|\\b|\^|\$|\(\?[a-zA-Z]+\)", ""),
    (r"\(\?:|\(\?P<\w+>", "("),
    (r"\.\*\??", ""),
    (r"(?<!\\)\.\+?\??", "x"),
)


def identity_text(pattern: str, serial: str) -> str:
    """Maker, model, serial number and firmware, in which `pattern` is found.

    Parameters
    ----------
    pattern : regular expression that the harness searches in the answer.

    Raises
    ------
    DescriptionError : no simple text was found that the pattern accepts.
    """
    is_plain = not re.search(r"[\\^$*+?()\[\]{}|]", pattern)
    for candidate in (pattern,) if is_plain else (_simplified(pattern), pattern):
        for text in (f"Simulated,{candidate},{serial or '0'},1.0", candidate):
            text = four_fields(text)
            if re.search(pattern, text):
                return text
    raise DescriptionError(
        f'identity: expected a pattern simple enough to make an answer for, got "{pattern}"'
    )


def four_fields(text: str) -> str:
    """`text` with the three commas that IEEE 488.2 gives an identity; no more, no fewer."""
    fields = text.split(",")
    return ",".join(([*fields[:3], "/".join(fields[3:]) or "0", "0", "0"])[:4])


def _simplified(pattern: str) -> str:
    """One text that the pattern may mean: first alternatives, shortest repeats."""
    text = pattern
    for part, meaning in _SIMPLE_PARTS:
        text = re.sub(part, meaning, text)
    while (shorter := re.sub(r"\(([^()|]*)(?:\|[^()]*)?\)[?+*]?", r"\1", text)) != text:
        text = shorter
    text = re.sub(r"\[(\\?.)[^\]]*\][?+*]?", r"\1", text.partition("|")[0])
    return re.sub(r"\\(.)[?+*]?", r"\1", text)
