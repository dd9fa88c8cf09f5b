"""`--help` comes at once: nothing numeric is imported for it, and it says what there is."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest
from command_line import TAPPROOF, environment, tapproof

COMMANDS = (
    "demo", "run", "rehearse", "runs", "show", "judge", "explain", "report", "export", "import",
)  # fmt: skip
HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "sqlalchemy", "pyvisa", "serial", "pydantic")

IMPORTED = f"""
import sys
from harness.cli.main import main
for words in {[["--help"], *([c, "--help"] for c in COMMANDS)]!r}:
    try:
        main(words)
    except SystemExit as left:
        assert left.code == 0, words
print("HEAVY", [name for name in {HEAVY!r} if name in sys.modules])
"""

# `--help` is to come within 300 ms where a bare interpreter that imports the command-line
# library takes 75 ms. A ratio holds on slow and busy machines too.
HIGHEST_RATIO = 4.0


def test_help_of_every_command_imports_nothing_heavy() -> None:
    done = subprocess.run(
        [sys.executable, "-c", IMPORTED], capture_output=True, encoding="utf-8", check=True
    )
    assert "HEAVY []" == done.stdout.splitlines()[-1]


def seconds(words: list[str]) -> float:
    """The shortest of five calls: what the machine's other work does not lengthen."""
    taken = []
    for _ in range(5):
        began = time.perf_counter()
        subprocess.run(words, capture_output=True, check=True, env=environment())
        taken.append(time.perf_counter() - began)
    return min(taken)


@pytest.mark.parametrize("words", [[], ["run"]], ids=["group", "command"])
def test_help_takes_few_times_a_bare_start(words: list[str]) -> None:
    bare = seconds([sys.executable, "-c", "import rich_click"])
    assert seconds([str(TAPPROOF), *words, "--help"]) < HIGHEST_RATIO * bare


def test_help_lists_every_command_and_exit_code() -> None:
    said = tapproof("--help", COLUMNS="100")
    assert list(COMMANDS) == [
        line.split()[1] for line in said.lines if line.startswith("│ ") and "--" not in line
    ]
    assert "0 pass, 1 fail, 2 bad input, 3 cannot decide, 4 aborted" in said.out


def test_without_words_the_help_is_shown() -> None:
    said = tapproof()
    assert "Usage: tapproof" in said.out + said.err


def test_version() -> None:
    from importlib.metadata import version

    assert f"tapproof, version {version('tapproof')}" == tapproof("--version").out.strip()
