"""Links between the documents lead somewhere, and the README's test command is CI's."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pages import DOCS, ROOT, anchor, headings, links

from harness.checks.registry import kinds
from harness.cli.main import COMMANDS

PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *DOCS.rglob("*.md")])
EXTERNAL = re.compile(r"^[a-z]+:")


def relative_links(file: Path) -> list[str]:
    """Targets of a page that are files or headings here."""
    return [t for t in links(file.read_text(encoding="utf-8")) if not EXTERNAL.match(t)]


@pytest.mark.parametrize("file", PAGES, ids=lambda file: str(file.relative_to(ROOT)))
def test_relative_links_resolve(file: Path) -> None:
    """Every linked file is there, and every linked heading is in it."""
    broken = []
    for target in relative_links(file):
        path, _, fragment = target.partition("#")
        linked = (file.parent / path).resolve() if path else file
        if not linked.exists() or (fragment and fragment not in anchors(linked)):
            broken.append(target)
    assert broken == []


def anchors(file: Path) -> set[str]:
    """Anchors of all headings of a page."""
    return {anchor(heading) for heading in headings(file.read_text(encoding="utf-8"))}


@pytest.mark.parametrize("file", sorted(DOCS.glob("*.md")), ids=lambda file: file.name)
def test_every_page_can_be_reached(file: Path) -> None:
    """Every page in docs/ is linked from another page."""
    linked = {
        (other.parent / target.partition("#")[0]).resolve()
        for other in PAGES
        if other != file
        for target in relative_links(other)
    }
    assert file in linked


def test_command_of_readme_is_run_by_ci() -> None:
    """What the README tells to run for the tests is what CI runs: same install, same pytest."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    (line,) = [line for line in readme.splitlines() if line.startswith("    ") and "pytest" in line]
    missing = [step for step in line.strip().split(" && ") if step not in script.splitlines()]
    assert missing == []


def test_changes_name_every_command_and_check() -> None:
    """The list of changes tells what there is."""
    text = (DOCS / "changes.md").read_text(encoding="utf-8")
    assert all(f"`{name}`" in text.replace("`tapproof ", "`") for name in [*COMMANDS, *kinds()])
