"""Relays that must never be closed together, over several cards."""

from __future__ import annotations

import pytest

from harness.instruments.faults import RelayConflict
from harness.instruments.relay_guard import RelayGuard


def test_two_of_a_group_are_refused_and_not_counted():
    """The message names both."""
    guard = RelayGuard([[("a", "1"), ("a", "2")]])
    with pytest.raises(RelayConflict) as caught:
        guard.authorise("a", frozenset({"1", "2", "3"}))
    assert str(caught.value) == (
        "relays a:1 and a:2: expected at most one of them closed (paths.never_together), got "
        "both asked for; correct the paths in the bench file"
    )
    assert {} == guard.closed


def test_groups_reach_over_cards():
    """What is closed on the other card counts."""
    guard = RelayGuard([[("a", "1"), ("b", "1")]])
    guard.authorise("a", frozenset({"1"}))
    with pytest.raises(RelayConflict, match="relays a:1 and b:1"):
        guard.authorise("b", frozenset({"1"}))


def test_opened_relays_no_longer_count():
    """One after the other is allowed."""
    guard = RelayGuard([[("a", "1"), ("a", "2")]])
    guard.authorise("a", frozenset({"1"}))
    guard.authorise("a", frozenset({"2"}))
    assert {"a": frozenset({"2"})} == guard.closed
