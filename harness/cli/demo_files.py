"""Where the invented demo descriptions are: in a checkout's fixtures, or installed beside it."""

from __future__ import annotations

import sysconfig
from pathlib import Path

from harness.errors import MisuseError

_MARKER = Path("benches") / "narrowboat-series.toml"


def fixtures_folder() -> Path:
    """The folder of the fixtures.

    Raises
    ------
    MisuseError : neither the checkout nor the installation has them.
    """
    beside_package = Path(__file__).resolve().parents[2] / "fixtures"
    installed = Path(sysconfig.get_path("data")) / "share" / "tapproof" / "fixtures"
    for folder in (beside_package, installed):
        if (folder / _MARKER).is_file():
            return folder
    raise MisuseError(
        f"demo: expected its descriptions in {beside_package} or {installed}, got neither; "
        "install tapproof again"
    )
