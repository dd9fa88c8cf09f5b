"""Files that cannot be read at all say so, with the line where there is one."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.descriptions.documents import load_document
from harness.descriptions.faults import DescriptionFaults, Remark


def told(path: Path) -> str:
    with pytest.raises(DescriptionFaults) as caught:
        load_document(path, "a plan")
    return str(caught.value)


@pytest.mark.parametrize(
    ("content", "text"),
    [
        (b"", ": expected a plan, got an empty file"),
        (b"# only a comment\n", ": expected a plan, got an empty file"),
        (
            b'a = 1\nname = "Gr\xfcn"\n',
            ":2: expected UTF-8 text, got byte 0xFC; save the file as UTF-8",
        ),
        (b"a = 1\nb = \n", ":2: expected valid TOML, got an error at column 5: invalid value"),
        (
            b"a = 1\nb = [1,\n",
            ":2: expected valid TOML, got an error at the end of the file: invalid value",
        ),
        (b"a = 1\na = 2\n", ':2: expected every key and table once, got "a" again'),
        (b"[a]\n[b]\n[a]\n", ":3: expected every key and table once, got [a] again"),
        (b"a = [\n1]\na = [\n2,\n3]\n", ':3: expected every key and table once, got "a" again'),
        (b"a = { b = 1, b = 2 }\n", ':1: expected every key and table once, got "b" again'),
    ],
    ids=[
        "empty",
        "only a comment",
        "not UTF-8",
        "no value",
        "list not closed",
        "key twice",
        "table twice",
        "list over lines twice",
        "inline key twice",
    ],
)
def test_content_that_is_no_description(tmp_path: Path, content: bytes, text: str) -> None:
    """One fault, at the line if the content has one."""
    path = tmp_path / "plan.toml"
    path.write_bytes(content)
    assert f"{path}{text}" == told(path)


def test_missing_file(tmp_path: Path) -> None:
    """The name is repeated as it was given."""
    path = tmp_path / "none.toml"
    assert f"{path}: expected a plan, got no such file" == told(path)


def test_file_below_a_file(tmp_path: Path) -> None:
    """A path through a file is no file either."""
    (tmp_path / "file").write_text("", "utf-8")
    path = tmp_path / "file" / "plan.toml"
    assert f"{path}: expected a plan, got no such file" == told(path)


def test_directory(tmp_path: Path) -> None:
    """A folder is told from a missing file."""
    assert f"{tmp_path}: expected a plan, got a directory" == told(tmp_path)


def test_unreadable_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the operating system says is passed on."""
    path = tmp_path / "plan.toml"
    path.write_text("a = 1\n", "utf-8")

    def refuse(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert f"{path}: expected a plan, got an unreadable file (Permission denied)" == told(path)


def test_byte_order_mark_and_windows_line_ends_are_accepted(tmp_path: Path) -> None:
    """Editors add them; lines still count right."""
    path = tmp_path / "plan.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\r\n[b]\r\nc = 2\r\n")
    document = load_document(path, "a plan")
    assert {"a": 1, "b": {"c": 2}} == document.data
    assert 3 == document.fault(Remark(("b", "c"), "3", "2")).line
