"""The screen goes away in the middle of a run, as with a closed terminal or `| head`."""

from __future__ import annotations

import json
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
from twin_runs import FIXTURES

TAPPROOF = Path(sysconfig.get_path("scripts")) / "tapproof"
REHEARSE = (
    "rehearse",
    *("--bench", str(FIXTURES / "benches" / "narrowboat-series.toml")),
    *("--board", str(FIXTURES / "boards" / "heron.toml")),
    *("--plan", str(FIXTURES / "plans" / "quick.toml")),
    *("--faults", str(FIXTURES / "faults" / "supply-stuck-on.toml")),
    *("--speed", "8"),
)


def rehearse_without_a_screen(results: Path) -> tuple[int, str]:
    """Close standard error's reader when the outputs are on; exit code and standard output."""
    words = (str(TAPPROOF), *REHEARSE, "--results", str(results))
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8"
    ) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        for line in run.stderr:
            if "outputs on" in line:
                break
        run.stderr.close()
        return run.wait(60), run.stdout.read()


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break otherwise there")
def test_an_output_that_stays_on_is_told_where_it_still_can_be(tmp_path: Path) -> None:
    """By exit code, on standard output, and in the record."""
    code, said = rehearse_without_a_screen(tmp_path)
    assert (7, True) == (code, "switch off by hand" in said)
    shown = subprocess.run(
        (str(TAPPROOF), "show", "latest", "--results", str(tmp_path), "--json"),
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert "switch off by hand" in json.dumps(json.loads(shown.stdout))
