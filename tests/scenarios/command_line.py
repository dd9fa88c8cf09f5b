"""Calls the installed `tapproof` command as a person does, in a process of its own.

Nothing of the package is imported here: what a person sees is exit code, standard output,
standard error and files.
"""

from __future__ import annotations

import os
import subprocess
import sysconfig
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FIXTURES = ROOT / "fixtures"
TAPPROOF = Path(sysconfig.get_path("scripts")) / "tapproof"

SERIES = FIXTURES / "benches" / "narrowboat-series.toml"
LADDER = FIXTURES / "benches" / "narrowboat-ladder.toml"
HERON = FIXTURES / "boards" / "heron.toml"
QUICK = FIXTURES / "plans" / "quick.toml"
ACCEPTANCE = FIXTURES / "plans" / "acceptance.toml"

# No command may take longer on the slowest machine that runs these tests.
LONGEST_SECONDS = 120.0


@dataclass(frozen=True)
class Said:
    """What a call left behind."""

    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        """Lines of standard output."""
        return self.out.splitlines()


def environment(**changes: str) -> dict[str, str]:
    """This process's environment without what makes a terminal, with `changes`."""
    terminal = {"COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR", "TTY_COMPATIBLE"}
    kept = {name: value for name, value in os.environ.items() if name not in terminal}
    return {**kept, "TERM": "xterm-256color", **changes}


def tapproof(*words: object, **changes: str) -> Said:
    """Call `tapproof` with these words; `changes` are added to the environment."""
    done = subprocess.run(
        [str(TAPPROOF), *map(str, words)],
        capture_output=True,
        encoding="utf-8",
        env=environment(**changes),
        timeout=LONGEST_SECONDS,
        check=False,
    )
    return Said(done.returncode, done.stdout, done.stderr)


def shell(script: str, **changes: str) -> Said:
    """Run a line of shell in which `tapproof` is the installed command."""
    path = f"{TAPPROOF.parent}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "-c", script],
        capture_output=True,
        encoding="utf-8",
        env=environment(PATH=path, **changes),
        timeout=LONGEST_SECONDS,
        check=False,
    )
    return Said(done.returncode, done.stdout, done.stderr)


def described_by(bench: Path = SERIES, board: Path = HERON, plan: Path = QUICK) -> tuple[str, ...]:
    """The three options that name a setup."""
    return ("--bench", str(bench), "--board", str(board), "--plan", str(plan))


def edited(source: Path, folder: Path, *changes: tuple[str, str]) -> Path:
    """A copy of `source` in `folder` with texts replaced; each must occur."""
    text = source.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{source}: {old!r} is not there"
        text = text.replace(old, new)
    copy = folder / source.name
    copy.write_text(text, encoding="utf-8")
    return copy
