"""No sequence of calls gets anything past a ceiling."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.descriptions.bench import Ceilings, Wiring
from harness.descriptions.instrument import SupplyCommands, SupplyModel
from harness.errors import SafetyError
from harness.instruments.envelope import ChannelState, SafetyEnvelope

SERIES = Wiring(topology="series", cells=4, supply="s", channels=(1, 2, 3, 4))
LADDER = Wiring(topology="ladder", cells=12, supply="s", channels=(1,))
MODEL = SupplyModel(
    role="supply",
    name="S",
    identity="S",
    channels=4,
    highest_volts=60.0,
    highest_amperes=1.0,
    highest_protection_volts=66.0,
)


def envelope(
    wiring: Wiring = SERIES, model: SupplyModel = MODEL, **ceilings: object
) -> SafetyEnvelope:
    return SafetyEnvelope(Ceilings(**ceilings), wiring, model)


def prepared(made: SafetyEnvelope) -> SafetyEnvelope:
    for channel in made.channels:
        made.authorise_zero(channel)
        made.confirm_voltage(channel, 0.0)
        made.confirm_current(channel, 0.05)
        made.confirm_protection(channel, made.protection_ceiling_volts)
    return made


# Ceilings ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wiring", "ceilings", "expected"),
    [
        pytest.param(SERIES, {"cell_volts": 4.2}, 4.2, id="series: one cell a channel"),
        pytest.param(LADDER, {"cell_volts": 4.2}, 50.4, id="ladder: all cells on one channel"),
        pytest.param(
            replace(LADDER, rung_ohms=100.0, rung_shunt_ratio=9.0),
            {"cell_volts": 4.0},
            47.6,
            id="ladder with shunts: eleven whole rungs and one of nine tenths",
        ),
        pytest.param(LADDER, {"cell_volts": 6.0}, 60.0, id="60 V unless declared"),
        pytest.param(LADDER, {"total_volts": 30.0}, 30.0, id="stack ceiling"),
        pytest.param(
            LADDER, {"cell_volts": 6.0, "total_volts": 90.0}, 60.0, id="90 V not declared"
        ),
        pytest.param(
            LADDER,
            {"cell_volts": 6.0, "total_volts": 90.0, "hazardous_voltage_declared": True},
            60.0,
            id="declared, but the supply gives 60 V",
        ),
    ],
)
def test_channel_ceiling_is_the_lowest_of_all(wiring, ceilings, expected):
    """Cell, stack, hazard, supply."""
    assert pytest.approx(expected) == envelope(wiring, **ceilings).channel_ceiling_volts


def test_declared_hazard_allows_more_than_60_volts():
    """With a supply that can."""
    model = replace(MODEL, highest_volts=100.0)
    made = envelope(
        LADDER, model, cell_volts=6.0, total_volts=70.0, hazardous_voltage_declared=True
    )
    assert 70.0 == made.channel_ceiling_volts


@pytest.mark.parametrize("volts", [4.201, -0.001, math.nan, math.inf])
def test_set_point_outside_the_ceiling_is_refused(volts):
    """Also negative, not a number, infinite."""
    made = prepared(envelope(cell_volts=4.2))
    with pytest.raises(SafetyError) as caught:
        made.authorise_voltage(1, volts, 0.0)
    assert str(caught.value) == (
        "supply channel 1: expected a set-point from 0 V to 4.2 V (ceilings, supply model), got "
        f"{volts:g} V; lower it, or raise the ceiling in the bench file if board and bench allow it"
    )


def test_total_over_all_channels_is_bounded():
    """Four cells of 3.5 V are more than 12 V."""
    made = prepared(envelope(total_volts=12.0, step_volts=60.0))
    for channel in (1, 2, 3):
        made.authorise_voltage(channel, 3.5, 0.0)
        made.confirm_voltage(channel, 3.5)
    with pytest.raises(SafetyError) as caught:
        made.authorise_voltage(4, 3.5, 0.0)
    assert str(caught.value) == (
        "supply: expected at most 12 V over all channels (ceilings.total_volts; 60 V unless "
        "ceilings.hazardous_voltage_declared), got 14 V"
    )


def test_unknown_channel_is_refused():
    """The wiring names the channels."""
    with pytest.raises(SafetyError) as caught:
        envelope().authorise_zero(7)
    assert str(caught.value) == (
        "supply channel 7: expected one of [1, 2, 3, 4] (wiring.channels), got one that the "
        "wiring does not use; correct the bench file"
    )


def test_a_ladder_uses_only_its_first_channel():
    """The others feed nothing."""
    wiring = replace(LADDER, channels=(2, 3))
    assert (2,) == envelope(wiring).channels


# Steps and slope --------------------------------------------------------------------------


def test_step_over_all_channels_is_bounded():
    """Two cells by 3.1 V each are 6.2 V of stack."""
    made = prepared(envelope(step_volts=6.0))
    with pytest.raises(SafetyError) as caught:
        made.authorise_voltages({1: 3.1, 2: 3.1}, 0.0)
    assert str(caught.value) == (
        "supply: expected a step of at most 6 V over all channels (ceilings.step_volts), "
        "got 6.2 V; ramp in smaller steps"
    )


def test_slope_is_bounded_over_moves():
    """One step is in store, then volts come in at 10 V/s."""
    made = prepared(envelope(LADDER, ramp_volts_per_second=10.0, step_volts=6.0))
    made.authorise_voltage(1, 6.0, 0.0)
    made.confirm_voltage(1, 6.0)
    with pytest.raises(SafetyError) as caught:
        made.authorise_voltage(1, 9.0, 0.2)
    assert str(caught.value) == (
        "supply: expected at most 2 V of change by now (ceilings.ramp_volts_per_second 10), "
        "got 3 V; ramp more slowly"
    )
    made.authorise_voltage(1, 9.0, 0.3)


@pytest.mark.parametrize(
    ("target", "now", "expected"),
    [(6.0, 0.0, 0.0), (9.0, 0.0, 0.3), (9.0, 0.2, 0.1), (9.0, 5.0, 0.0), (40.0, 0.0, 0.6)],
)
def test_the_wait_that_the_slope_asks_for(target, now, expected):
    """After a step of 6 V nothing is in store; more than one step is never waited for."""
    made = prepared(envelope(LADDER, ramp_volts_per_second=10.0, step_volts=6.0))
    made.authorise_voltage(1, 6.0, 0.0)
    made.confirm_voltage(1, 6.0)
    assert pytest.approx(expected) == made.slope_wait_seconds({1: target}, now)


def test_a_set_point_not_yet_read_back_counts_beside_the_old_one():
    """Nobody knows which of the two stands."""
    made = prepared(envelope(LADDER, step_volts=6.0, ramp_volts_per_second=1000.0))
    made.authorise_voltage(1, 5.0, 0.0)
    with pytest.raises(SafetyError, match="got 8 V; ramp in smaller steps"):
        made.authorise_voltage(1, 8.0, 1.0)


# Order ------------------------------------------------------------------------------------


def test_output_needs_everything_read_back():
    """Programmed alone is not enough."""
    made = envelope()
    made.authorise_current(1, 0.05)
    made.authorise_protection(1, 4.5)
    made.authorise_zero(1)
    with pytest.raises(SafetyError) as caught:
        made.authorise_output_on(1)
    assert str(caught.value) == (
        "supply channel 1: expected current limit, over-voltage protection and set-point "
        "programmed and read back before output on, got no current limit and no over-voltage "
        "protection and no set-point; prepare the channel first"
    )
    assert frozenset() == made.channels_on


@pytest.mark.parametrize("missing", ["current limit", "over-voltage protection"])
def test_output_needs_each_limit(missing):
    """One of the two is not enough."""
    made = envelope()
    made.authorise_zero(1)
    made.confirm_voltage(1, 0.0)
    if missing != "current limit":
        made.confirm_current(1, 0.05)
    if missing != "over-voltage protection":
        made.confirm_protection(1, 4.5)
    with pytest.raises(SafetyError, match=f"got no {missing}; prepare the channel first"):
        made.authorise_output_on(1)


def test_output_needs_zero_volts():
    """0 V set and read back."""
    made = prepared(envelope())
    made.authorise_voltage(1, 3.0, 0.0)
    made.confirm_voltage(1, 3.0)
    with pytest.raises(SafetyError) as caught:
        made.authorise_output_on(1)
    assert str(caught.value) == (
        "supply channel 1: expected 0 V set and read back before output on, got a set-point that "
        "is 3 V; set 0 V first"
    )


def test_output_needs_the_zero_to_be_read_back():
    """Sent is not enough."""
    made = prepared(envelope())
    made.authorise_voltage(1, 3.0, 0.0)
    with pytest.raises(SafetyError, match="got a set-point that is unknown; set 0 V first"):
        made.authorise_output_on(1)


def test_prepared_output_may_go_on_and_off():
    """It counts as on from authorisation until proved off."""
    made = prepared(envelope())
    made.authorise_output_on(2)
    assert frozenset({2}) == made.channels_on
    made.note_output_off(2)
    assert frozenset() == made.channels_on


def test_set_point_needs_limits_first():
    """Even with the output off."""
    with pytest.raises(SafetyError, match=r"before a set-point above 0 V, got no current limit"):
        envelope().authorise_voltage(1, 1.0, 0.0)


def test_supply_that_cannot_exceed_the_ceiling_needs_no_protection():
    """A 4.5 V supply on 4.5 V cells."""
    made = envelope(model=replace(MODEL, highest_volts=4.5, commands=SupplyCommands()))
    made.authorise_zero(1)
    made.confirm_voltage(1, 0.0)
    made.confirm_current(1, 0.05)
    made.authorise_output_on(1)
    assert frozenset({1}) == made.channels_on


@pytest.mark.parametrize("amperes", [0.0, -0.1, 0.11, math.nan])
def test_current_limit_is_bounded(amperes):
    """Above zero, at most the ceiling; as set and as read back."""
    made = envelope(channel_amperes=0.1)
    for act in (made.authorise_current, made.confirm_current):
        with pytest.raises(SafetyError) as caught:
            act(1, amperes)
        assert str(caught.value) == (
            "supply channel 1: expected a current limit above 0 A and at most 0.1 A "
            f"(ceilings.channel_amperes, supply model), got {amperes:g} A"
        )
    assert made.state(1).limit_amperes is None


@pytest.mark.parametrize("volts", [0.0, 5.3, math.inf])
def test_protection_is_bounded(volts):
    """A protection far above the cells protects nothing; 1.1 x 4.5 V + 0.25 V is the most."""
    made = envelope(cell_volts=4.5)
    for act in (made.authorise_protection, made.confirm_protection):
        with pytest.raises(SafetyError) as caught:
            act(1, volts)
        assert str(caught.value) == (
            "supply channel 1: expected an over-voltage protection above 0 V and at most 5.2 V "
            f"(ceilings, supply model), got {volts:g} V"
        )


def test_set_point_above_its_protection_is_refused():
    """It would trip."""
    made = prepared(envelope())
    made.confirm_protection(1, 3.0)
    with pytest.raises(SafetyError) as caught:
        made.authorise_voltage(1, 3.5, 0.0)
    assert str(caught.value) == (
        "supply channel 1: expected a set-point below its over-voltage protection of 3 V, got 3.5 V"
    )


def test_read_back_above_the_ceiling_is_a_safety_fault():
    """Somebody else turned a knob; it is noted all the same."""
    made = prepared(envelope(cell_volts=4.5))
    with pytest.raises(SafetyError) as caught:
        made.confirm_voltage(1, 5.0)
    assert str(caught.value) == (
        "supply channel 1: expected a set-point of at most 4.5 V, read back 5 V; "
        "switching off is the only way on"
    )
    assert (5.0,) == made.state(1).possible_volts
    made.authorise_zero(1)


def test_state_keeps_only_the_extremes():
    """Of many set-points in the air, the lowest and the highest."""
    state = ChannelState(possible_volts=(1.0,)).with_sent(3.0).with_sent(2.0)
    assert ((1.0, 3.0), None) == (state.possible_volts, state.set_volts)


# Any sequence -----------------------------------------------------------------------------

VOLTS = st.one_of(
    st.floats(0.0, 4.2),
    st.floats(-1.0, 70.0),
    st.sampled_from([0.0, 4.2, 4.2000001, 50.4, 60.0, math.nan, math.inf]),
)
CALLS = st.one_of(
    st.tuples(st.just("zero"), st.integers(1, 4)),
    st.tuples(st.just("set"), st.integers(1, 4), VOLTS, st.floats(0.0, 10.0)),
    st.tuples(
        st.just("move"),
        st.dictionaries(st.integers(1, 4), st.floats(0.0, 5.0), min_size=1),
        st.floats(0.0, 10.0),
    ),
    st.tuples(st.just("confirm"), st.integers(1, 4)),
    st.tuples(st.just("current"), st.integers(1, 4), st.floats(0.01, 0.11)),
    st.tuples(st.just("protection"), st.integers(1, 4), st.floats(4.0, 6.0)),
    st.tuples(st.just("on"), st.integers(1, 4)),
    st.tuples(st.just("off"), st.integers(1, 4)),
)


class Watcher:
    """Plays calls on an envelope as a driver would, and keeps what was authorised."""

    def __init__(self, made: SafetyEnvelope, total_volts: float, step_volts: float) -> None:
        self.envelope = made
        self.total_volts = total_volts
        self.step_volts = step_volts
        self.now = 0.0
        self.sent: dict[int, float] = dict.fromkeys(made.channels, 0.0)

    def play(self, call: tuple) -> None:
        name, *arguments = call
        try:
            getattr(self, name)(*arguments)
        except SafetyError:
            return

    def zero(self, channel: int) -> None:
        self.envelope.authorise_zero(channel)
        self.sent[channel] = 0.0

    def set(self, channel: int, volts: float, pause: float) -> None:
        self.move({channel: volts}, pause)

    def move(self, targets: dict[int, float], pause: float) -> None:
        self.now += pause
        self.envelope.authorise_voltages(targets, self.now)
        change = sum(abs(v - self.sent[c]) for c, v in targets.items())
        self.sent.update(targets)
        assert all(0.0 <= v <= self.envelope.channel_ceiling_volts + 1e-6 for v in targets.values())
        assert sum(self.sent.values()) <= self.total_volts + 0.01
        assert change <= self.step_volts + 0.01

    def confirm(self, channel: int) -> None:
        # A read-back tells what stands, and that is what was sent last.
        self.envelope.confirm_voltage(channel, self.sent[channel])

    def current(self, channel: int, amperes: float) -> None:
        self.envelope.confirm_current(channel, amperes)
        assert 0 < amperes <= 0.1 + 1e-6

    def protection(self, channel: int, volts: float) -> None:
        self.envelope.confirm_protection(channel, volts)
        assert 0 < volts <= self.envelope.protection_ceiling_volts + 1e-6

    def on(self, channel: int) -> None:
        self.envelope.authorise_output_on(channel)
        state = self.envelope.state(channel)
        assert state.limit_amperes is not None
        assert state.protection_volts is not None
        assert self.sent[channel] == 0.0

    def off(self, channel: int) -> None:
        self.envelope.note_output_off(channel)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.booleans(), st.lists(CALLS, max_size=40))
def test_no_sequence_of_calls_passes_a_ceiling(starts_prepared, calls):
    """Whatever is called in whatever order, prepared or not."""
    made = envelope(cell_volts=4.2, total_volts=10.0, step_volts=6.0)
    watcher = Watcher(prepared(made) if starts_prepared else made, 10.0, 6.0)
    for call in calls:
        watcher.play(call)


MOVES = st.dictionaries(st.integers(1, 4), st.floats(0.0, 4.2), min_size=1, max_size=2)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(MOVES, st.booleans()), min_size=4, max_size=20))
def test_no_sequence_of_moves_passes_the_total(moves):
    """Read back or not: at worst every set-point in the air stands."""
    made = prepared(envelope(cell_volts=4.2, total_volts=10.0, step_volts=9.0))
    possible = {channel: {0.0} for channel in made.channels}
    for at, (targets, is_read_back) in enumerate(moves):
        try:
            made.authorise_voltages(targets, 10.0 * at)
        except SafetyError:
            continue
        for channel, volts in targets.items():
            possible[channel].add(volts)
        assert sum(max(values) for values in possible.values()) <= 10.0 + 0.01
        for channel, volts in targets.items() if is_read_back else ():
            made.confirm_voltage(channel, volts)
            possible[channel] = {volts}


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.floats(-6.0, 6.0), st.floats(0.0, 0.5)), min_size=5, max_size=50))
def test_no_sequence_of_moves_passes_the_slope(moves):
    """All change since the start is at most one step plus slope times time."""
    made = prepared(envelope(LADDER, step_volts=6.0, ramp_volts_per_second=10.0))
    now = stands = changed = 0.0
    for change, pause in moves:
        now += pause
        try:
            made.authorise_voltage(1, stands + change, now)
        except SafetyError:
            continue
        made.confirm_voltage(1, stands + change)
        changed += abs(change)
        stands += change
        assert changed <= 6.0 + 10.0 * now + 1e-3
