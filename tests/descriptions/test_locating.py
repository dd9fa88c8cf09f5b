"""Lines of keys are found in every form that TOML has for them."""

from __future__ import annotations

import pytest

from harness.descriptions.faults import KeyPath
from harness.descriptions.locating import line_of

TEXT = '''\
name = "x"
text = """
two
lines"""
dotted.one = 1
dotted.two = 2
inline = { a = 1, b = [1, 2] }
array = [
  1.0,
  "two",  # comment
  [3,
   4],
]

[limits]
# comment
volts = 2

[empty]

[[check]]
kind = "a"

[[check]]
# comment
kind = "b"
sub.x = 1

[instruments.meter]
role = 1

[out.a]
x = 1

[other]
z = 1

[out.b]
y = 2

[outer.inner]
w = 1

[[outer.list]]
v = 1

["quoted name"]
"a key" = 1
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("name",), 1),
        (("text",), 2),
        (("dotted",), 5),
        (("dotted", "two"), 6),
        (("inline",), 7),
        (("inline", "b", 1), 7),
        (("array",), 8),
        (("array", 1), 10),
        (("array", 2, 1), 12),
        (("limits",), 15),
        (("limits", "volts"), 17),
        (("empty",), 19),
        (("check",), 21),
        (("check", 1), 24),
        (("check", 1, "kind"), 26),
        (("check", 1, "sub", "x"), 27),
        (("instruments", "meter"), 29),
        (("instruments", "meter", "role"), 30),
        (("out", "a"), 32),
        (("out", "b", "y"), 39),
        (("outer",), 41),
        (("outer", "list"), 44),
        (("quoted name",), 47),
        (("quoted name", "a key"), 48),
    ],
    ids=str,
)
def test_key_is_found_on_its_line(path: KeyPath, line: int) -> None:
    """A value at its key, a table at its header, an inline table at its key."""
    assert line == line_of(TEXT, path)


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("limits", "gone"), 15),
        (("limits", "gone", "deeper"), 15),
        (("empty", "gone"), 19),
        (("check", 1, "gone"), 24),
        (("inline", "gone"), 7),
        (("array", 9), 8),
        (("gone",), 1),
    ],
    ids=str,
)
def test_missing_key_is_at_its_table(path: KeyPath, line: int) -> None:
    """Where nothing stands, the nearest table around it is the place to write it."""
    assert line == line_of(TEXT, path)


def test_windows_line_ends_count_once() -> None:
    """A carriage return is no line of its own."""
    assert 17 == line_of(TEXT.replace("\n", "\r\n"), ("limits", "volts"))


def test_text_that_is_no_toml_has_no_lines() -> None:
    """The syntax fault has its own line; keys have none."""
    assert line_of("a = \n", ("a",)) is None
