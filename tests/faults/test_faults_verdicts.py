"""A planted fault of the board is found by the check that should find it, in that channel only."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from fault_rig import assert_measured_off, assert_safe, failed, not_passed, reasons, verdicts
from twin_runs import TwinRun, setup_of, with_checks

from harness.descriptions.plan import (
    CellAccuracySettings,
    MappingSettings,
    NoiseSettings,
    StackTotalSettings,
    ThermistorAccuracySettings,
    ThermistorFaultsSettings,
)
from harness.descriptions.setup import Setup
from harness.finding import Finding
from harness.metrology.decision import Verdict
from harness.simulator.faults import (
    Bleed,
    CellFault,
    ChannelFault,
    Faults,
    StackFault,
    TapFault,
    ThermistorFault,
)

MAPPING, ACCURACY, STACK = "mapping", "cell-accuracy", "stack-total"
NOISE, THERMISTOR, FLAGS = "noise", "thermistor-accuracy", "thermistor-open-short"
STACK_CHANNEL = 0

# Whole plans take half a minute of the bench; this is as fast as two busy cores keep up with.
SPEED = 12.0


def every_check() -> Setup:
    """All six checks with as few points as each allows."""
    return with_checks(
        setup_of(plan="quick"),
        MappingSettings(kind="mapping", cells=(2, 3, 4, 6, 7)),
        CellAccuracySettings(
            kind="cell-accuracy", points_volts=(2.5, 2.8, 3.1, 3.4, 3.65), directions=("up",)
        ),
        StackTotalSettings(kind="stack-total", points_volts=(3.65,)),
        NoiseSettings(kind="noise", cell_volts=3.65),
        ThermistorAccuracySettings(
            kind="thermistor-accuracy",
            points_celsius=(0.0, 15.0, 25.0, 40.0, 60.0),
            cell_volts=3.65,
        ),
        ThermistorFaultsSettings(
            kind="thermistor-open-short", reaction_seconds=0.6, cell_volts=3.65
        ),
    )


SETUP = every_check()

# What is planted, and the channels that each check must fail; all else must pass.
FOUND: Mapping[str, tuple[Faults, Mapping[str, set[int]]]] = {
    "gain": (Faults(cell=(CellFault(cell=9, gain=0.0025),)), {ACCURACY: {9}}),
    "offset": (Faults(cell=(CellFault(cell=4, offset_volts=0.010),)), {ACCURACY: {4}}),
    "bent transfer": (Faults(cell=(CellFault(cell=6, inl_volts=0.012),)), {ACCURACY: {6}}),
    "cracked joint": (Faults(tap=(TapFault(tap=5, board_ohms=9_000.0),)), {ACCURACY: {5, 6}}),
    "swapped": (
        Faults(
            channel=(
                ChannelFault(channel=3, shows_cell=4),
                ChannelFault(channel=4, shows_cell=3),
            )
        ),
        {MAPPING: {3, 4}},
    ),
    "copied": (Faults(channel=(ChannelFault(channel=7, shows_cell=6),)), {MAPPING: {7}}),
    "frozen": (
        Faults(channel=(ChannelFault(channel=2, frozen_after_seconds=0.0),)),
        {MAPPING: {2}, ACCURACY: {2}, STACK: {STACK_CHANNEL}, NOISE: {2}},
    ),
    "stack divider": (Faults(stack=StackFault(gain=0.005)), {STACK: {STACK_CHANNEL}}),
    "pull-up": (
        Faults(thermistor=(ThermistorFault(thermistor=2, pull_up_ratio=0.12),)),
        {THERMISTOR: {2}},
    ),
    "leakage": (
        Faults(thermistor=(ThermistorFault(thermistor=1, leakage_ohms=100_000.0),)),
        {THERMISTOR: {1}, FLAGS: {1}},
    ),
    "no flags": (
        Faults(thermistor=(ThermistorFault(thermistor=1, has_no_flags=True),)),
        {FLAGS: {1}},
    ),
    "swapped thermistors": (
        Faults(
            thermistor=(
                ThermistorFault(thermistor=1, shows_thermistor=2),
                ThermistorFault(thermistor=2, shows_thermistor=1),
            )
        ),
        {THERMISTOR: {1, 2}, FLAGS: {1, 2}},
    ),
}

# Parts of the sentences that the failing findings of a check must hold.
SENTENCES = {
    "swapped": (MAPPING, "channels 3 and 4 are swapped"),
    "copied": (MAPPING, "a copy of channel 6"),
    "frozen": (NOISE, "channel 2 is frozen"),
    "no flags": (FLAGS, "with no flag"),
    "leakage": (FLAGS, "thermistor 1 open reads"),
}


def failing(run: TwinRun, check: str) -> list[Finding]:
    return [f for f in run.findings(check) if f.verdict is Verdict.FAIL]


@pytest.mark.parametrize("fault", FOUND)
def test_fault_is_found_where_it_is(fault: str, measure_on_twin) -> None:
    faults, expected = FOUND[fault]
    run = measure_on_twin(SETUP, faults, speed=SPEED)
    assert run.error is None
    checks = [settings.kind for settings in SETUP.plan.check]
    assert {kind: expected.get(kind, set()) for kind in checks} == {
        kind: not_passed(run, kind) for kind in checks
    }
    assert dict(expected) == {kind: failed(run, kind) for kind in expected}
    assert Verdict.FAIL == run.judged.judgement.verdict()
    check, sentence = SENTENCES.get(fault, (checks[0], ""))
    assert sentence in reasons(failing(run, check))
    assert_safe(run, SETUP.bench.ceilings)


def test_a_noisy_channel_fails_the_noise_check_alone(measure_on_twin) -> None:
    """4 mV where 1 mV is allowed; its mean may be too uncertain for a plain accuracy pass."""
    run = measure_on_twin(SETUP, Faults(cell=(CellFault(cell=11, noise_volts=0.004),)), speed=SPEED)
    assert {11} == failed(run, NOISE) == not_passed(run, NOISE)
    assert not_passed(run, ACCURACY) <= {11}
    passing = {MAPPING, STACK, THERMISTOR, FLAGS}
    assert passing <= {kind for kind, verdict in verdicts(run).items() if verdict is Verdict.PASS}


def test_a_cracked_joint_is_a_pair_of_opposite_errors(measure_on_twin) -> None:
    """Cell 5 reads low and cell 6 high by the same: in tap basis a single spike."""
    only = with_checks(SETUP, SETUP.plan.check[1])
    run = measure_on_twin(only, Faults(tap=(TapFault(tap=5, board_ohms=9_000.0),)))
    below = [f.error for f in run.findings(ACCURACY) if f.channel == 5]
    above = [f.error for f in run.findings(ACCURACY) if f.channel == 6]
    assert [pytest.approx(-0.009, abs=0.0015)] * 5 == below
    assert [pytest.approx(0.009, abs=0.0015)] * 5 == above


def test_resistance_in_a_lead_fails_no_board(measure_on_twin) -> None:
    """The reference is taken at the pins, where the drop is over."""
    only = with_checks(SETUP, SETUP.plan.check[1])
    run = measure_on_twin(only, Faults(tap=(TapFault(tap=5, series_ohms=20_000.0),)))
    assert Verdict.PASS == run.judged.judgement.verdict()


def test_a_bleed_that_is_on_is_a_constant_current(measure_on_twin) -> None:
    """33 ohm across a cell asks more than the declared current limit gives."""
    run = measure_on_twin(SETUP, Faults(bleed=(Bleed(cell=6, ohms=33.0),)))
    assert "channel 6: expected less than its current limit of 0.1 A" in str(run.error)
    assert_safe(run, SETUP.bench.ceilings)


def test_a_healthy_board_passes_everything(measure_on_twin) -> None:
    run = measure_on_twin(setup_of(plan="acceptance"), speed=SPEED)
    assert run.error is None
    assert {Verdict.PASS} == set(verdicts(run).values())
    assert len(run.judged.setup.plan.check) == len(verdicts(run)) == 6
    assert_safe(run, SETUP.bench.ceilings)
    assert_measured_off(run)


def test_a_ladder_bench_says_what_it_cannot_do(measure_on_twin) -> None:
    """Mapping needs cells that move alone; all else is done, and nothing missing is a pass."""
    setup = setup_of("narrowboat-ladder", plan="acceptance")
    run = measure_on_twin(setup, speed=SPEED)
    assert run.error is None
    mapping, *others = run.judged.judgement.checks
    assert "this bench lacks individual cell set-points" == mapping.not_run
    assert [Verdict.PASS] * 5 == [check.verdict() for check in others]
    assert Verdict.NOT_RUN == run.judged.judgement.verdict()
    assert ["this bench lacks individual cell set-points"] == run.texts("not run")
    assert_safe(run, setup.bench.ceilings)


def test_an_optional_check_that_the_bench_lacks_lets_the_board_pass(measure_on_twin) -> None:
    setup = setup_of("narrowboat-ladder")
    mapping = MappingSettings(kind="mapping", optional=True)
    run = measure_on_twin(with_checks(setup, mapping, *setup.plan.check))
    assert Verdict.PASS == run.judged.judgement.verdict()


@pytest.mark.parametrize("board", ["heron", "heron-key-value", "heron-json", "heron-binary"])
def test_every_frame_format_is_measured(board: str, measure_on_twin) -> None:
    """CSV, key=value, JSON lines and binary frames, over the wire."""
    setup = setup_of(board=board)
    run = measure_on_twin(setup)
    assert run.error is None
    assert Verdict.PASS == run.judged.judgement.verdict()
    assert 60 == len(run.findings(ACCURACY))
    (told,) = run.texts("link statistics")
    assert told.endswith("good frames, nothing wrong")
