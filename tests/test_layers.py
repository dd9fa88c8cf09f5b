"""Layers only point down, there are no import knots, and no module is a grab-bag."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "harness"

# Lowest first. A module may import modules of its own layer and of layers below.
LAYERS: list[set[str]] = [
    {"metrology", "observation", "finding", "timebase", "errors"},
    {"descriptions"},
    {"protocols"},
    {"instruments", "link"},
    {"bench"},
    {"checks", "diagnosis"},
    {"run", "records"},
    {"report"},
    {"cli"},
]
# The simulator stands beside: what it may use, and who may use it.
SIMULATOR_MAY_USE = {"metrology", "observation", "timebase", "errors", "descriptions", "protocols"}
MAY_USE_SIMULATOR = {"cli"}
FORBIDDEN_MODULE_NAMES = {"util", "utils", "helpers", "common", "misc"}
# The science and the protocols do no input or output and read no clock.
PURE = {"metrology", "protocols", "observation", "finding"}
IMPURE_MODULES = {
    "socket",
    "serial",
    "pyvisa",
    "time",
    "asyncio",
    "threading",
    "subprocess",
    "os",
    "random",
    "sqlite3",
    "sqlalchemy",
}


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def part_of(path: Path) -> str:
    inside = path.relative_to(PACKAGE)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def dotted(path: Path) -> str:
    parts = ("harness", *path.relative_to(PACKAGE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: relative import"
            found |= {f"{node.module}.{alias.name}" for alias in node.names} | {node.module}
    return found


def own_parts_imported(path: Path) -> set[str]:
    return {name.split(".")[1] for name in imports_of(path) if name.startswith("harness.")}


def level(part: str) -> int | None:
    return next((i for i, layer in enumerate(LAYERS) if part in layer), None)


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_imports_point_down(path: Path) -> None:
    """A module imports only its own layer and layers below it."""
    part = part_of(path)
    if part == "__init__":
        return
    for imported in own_parts_imported(path):
        if part == "simulator":
            assert imported in SIMULATOR_MAY_USE | {"simulator"}, f"simulator uses {imported}"
        elif imported == "simulator":
            assert part in MAY_USE_SIMULATOR, f"{part} uses the simulator"
        else:
            mine, theirs = level(part), level(imported)
            assert mine is not None, f"{part} is in no layer"
            assert theirs is not None, f"{imported} is in no layer"
            assert theirs <= mine, f"{part} (layer {mine}) imports {imported} (layer {theirs})"


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_no_module_imports_the_package_root(path: Path) -> None:
    """The root only re-exports; nobody leans on it."""
    assert "harness" not in {name for name in imports_of(path) if "." not in name}


@pytest.mark.parametrize("path", [p for p in modules() if part_of(p) in PURE], ids=dotted)
def test_science_and_protocols_do_no_input_or_output(path: Path) -> None:
    """Science and protocols import nothing that talks, waits, stores or draws at random."""
    roots = {name.split(".")[0] for name in imports_of(path)}
    assert set() == roots & IMPURE_MODULES


def test_there_is_no_import_knot() -> None:
    """Modules can be put in an order in which each imports only earlier ones."""
    names = {dotted(path): path for path in modules()}
    edges = {
        name: {other for other in imports_of(path) if other in names and other != name}
        for name, path in names.items()
    }
    while edges:
        free = {name for name, others in edges.items() if not others & edges.keys()}
        assert free, f"import knot among {sorted(edges)}"
        edges = {name: others for name, others in edges.items() if name not in free}


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_modules_are_named_documented_and_short(path: Path) -> None:
    """No grab-bags, a docstring on top, at most 600 lines."""
    text = path.read_text("utf-8")
    assert path.stem not in FORBIDDEN_MODULE_NAMES
    assert ast.get_docstring(ast.parse(text)), f"{path} has no docstring"
    assert text.count("\n") <= 600


def test_top_level_is_as_designed() -> None:
    """The repository's top level holds what the design names and dotfiles, nothing else."""
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "harness",
        "fixtures",
        "tests",
        "results",
        "docs",
    }
    root = PACKAGE.parent
    seen = {
        entry.name
        for entry in root.iterdir()
        if not entry.name.startswith(".") and not entry.name.endswith(".egg-info")
    }
    assert seen - {"build", "dist"} == allowed
