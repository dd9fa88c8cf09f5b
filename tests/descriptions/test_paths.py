"""Relay names: plain with one card, "instrument:relay" with several."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from harness.descriptions.bench import Paths
from harness.descriptions.instrument import SwitchModel
from harness.descriptions.paths import find_relay, named_paths, resolve_relay, switch_models
from harness.descriptions.reading import read_setup
from harness.errors import DescriptionError

GOOD = Path(__file__).parent / "good"
CARD = SwitchModel(role="switch", name="card", identity="card", relays=("101", "102"))


@pytest.mark.parametrize(
    ("relay", "found"),
    [("101", ("lower", "101")), ("103", None), ("lower:101", None)],
    ids=["there", "not there", "with needless instrument"],
)
def test_one_card_needs_no_instrument(relay: str, found: tuple[str, str] | None) -> None:
    """One name a relay, so that interlocks cannot be evaded by another spelling."""
    assert found == find_relay(relay, {"lower": CARD})


@pytest.mark.parametrize(
    ("relay", "found"),
    [
        ("upper:101", ("upper", "101")),
        ("lower:102", ("lower", "102")),
        ("101", None),
        ("upper:103", None),
        ("middle:101", None),
    ],
)
def test_two_cards_need_the_instrument(relay: str, found: tuple[str, str] | None) -> None:
    """A plain name would be either card's."""
    assert found == find_relay(relay, {"lower": CARD, "upper": CARD})


def test_no_card_has_no_relay() -> None:
    """Nothing is found where nothing is."""
    assert find_relay("101", {}) is None


def test_relay_of_a_setup_is_resolved() -> None:
    """The setup's models say which card is meant."""
    setup = read_setup(GOOD / "bench.toml", GOOD / "board.toml", GOOD / "plan.toml")
    assert ("relays", "104") == resolve_relay("104", setup)


def test_unknown_relay_of_a_setup_is_an_error() -> None:
    """A setup built otherwise than by reading may name what is not there."""
    setup = read_setup(GOOD / "bench.toml", GOOD / "board.toml", GOOD / "plan.toml")
    with pytest.raises(DescriptionError, match=r'relay: expected a relay of relays, got "999"'):
        resolve_relay("999", setup)
    without = replace(setup, models={})
    with pytest.raises(DescriptionError, match="expected a relay card among the instruments"):
        resolve_relay("104", without)


def test_switch_models_leave_out_the_others() -> None:
    """Only cards have relays."""
    setup = read_setup(GOOD / "bench.toml", GOOD / "board.toml", GOOD / "plan.toml")
    assert ["relays"] == list(switch_models(setup.models))


def test_paths_carry_their_keys() -> None:
    """Every declared path and no other."""
    paths = Paths(meter_at_cell=(("1",), ("2", "3")), meter_at_stack=("4",))
    assert {
        ("paths", "meter_at_cell", 0): ("1",),
        ("paths", "meter_at_cell", 1): ("2", "3"),
        ("paths", "meter_at_stack"): ("4",),
    } == named_paths(paths)
