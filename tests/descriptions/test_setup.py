"""A setup survives the record: text and back, and a hash that tells setups apart."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from harness.descriptions.plan import LimitOverride
from harness.descriptions.reading import read_setup
from harness.descriptions.setup import Setup, setup_from_json, setup_hash, setup_to_json

GOOD = Path(__file__).parent / "good"


def good_setup(bench: str = "bench.toml", board: str = "board.toml") -> Setup:
    return read_setup(GOOD / bench, GOOD / board, GOOD / "plan.toml")


@pytest.mark.parametrize("bench", ["bench.toml", "bench-ladder.toml"])
@pytest.mark.parametrize(
    "board", ["board.toml", "board-keys.toml", "board-json.toml", "board-binary.toml"]
)
def test_setup_comes_back_from_its_text(bench: str, board: str) -> None:
    """Nothing is lost or changed, dates and enums included."""
    setup = good_setup(bench, board)
    assert setup == setup_from_json(setup_to_json(setup))


def test_text_is_canonical() -> None:
    """Keys are sorted and the text of what came back is the same."""
    text = setup_to_json(good_setup())
    assert text == setup_to_json(setup_from_json(text))
    assert text == json.dumps(json.loads(text), sort_keys=True, ensure_ascii=False)


def test_equal_setups_have_equal_hashes() -> None:
    """Read twice, hashed alike; 64 hex digits."""
    assert setup_hash(good_setup()) == setup_hash(good_setup())
    assert 64 == len(setup_hash(good_setup()))


def test_hash_does_not_depend_on_the_order_of_models() -> None:
    """A mapping has no order that means anything."""
    setup = good_setup()
    turned = replace(setup, models=dict(reversed(list(setup.models.items()))))
    assert setup_hash(setup) == setup_hash(turned)


def test_another_limit_is_another_setup() -> None:
    """The smallest change of what decides changes the hash."""
    setup = good_setup()
    plan = replace(setup.plan, limits=LimitOverride(cell_error_volts=0.0050001))
    assert setup_hash(setup) != setup_hash(replace(setup, plan=plan))


@pytest.mark.parametrize("text", ["", "{}", '{"bench": 1}', "[]"])
def test_other_text_is_refused(text: str) -> None:
    """A damaged record is told, not guessed at."""
    with pytest.raises(ValueError, match=r"."):
        setup_from_json(text)
