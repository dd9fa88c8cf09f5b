"""An instrument that is missing, strange, silent, late, lying or stuck, through the whole stack."""

from __future__ import annotations

import dataclasses
import socket

import pytest
from fault_rig import (
    Progress,
    assert_aborted,
    assert_measured_off,
    assert_safe,
    assert_told,
    not_passed,
    reasons,
)
from twin_runs import SPEED, setup_of

from harness.bench.opening import open_workbench
from harness.descriptions.setup import Setup
from harness.errors import OutputNotOffError, SafetyError
from harness.instruments.faults import (
    ConnectionLost,
    InstrumentMissing,
    InstrumentRefused,
    InstrumentSilent,
    SetPointMismatch,
    WrongInstrument,
)
from harness.metrology.decision import Verdict
from harness.observation import Source
from harness.simulator.faults import Faults, InstrumentFault, Leakage
from harness.simulator.settings import TwinSettings
from harness.simulator.twin import Twin
from harness.timebase import SHORTEST_REAL_TIMEOUT_SECONDS, ScaledClock

SETUP = setup_of()
CEILINGS = SETUP.bench.ceilings

# Beyond every time-out of the bench at this speed, and half a second of a busy machine.
TOO_LATE_SECONDS = SPEED * (SHORTEST_REAL_TIMEOUT_SECONDS + 0.5)

# After so many messages its outputs are on, however few steps a busy machine's ramp takes.
SUPPLY_IS_UP = 60

# (which instrument, its fault, what the error is, parts of its text in order, points before it)
ENDED_BY = {
    "the meter is another one": (
        "meter",
        InstrumentFault(identity="Simulated,other-meter,0,1.0"),
        WrongInstrument,
        (
            'sent "*IDN?"',
            'expected an answer that matches "generic-meter-6digit"',
            'got "Simulated,other-meter,0,1.0"',
            "check the resource in the bench file",
        ),
        0,
    ),
    "the supply is another one": (
        "supply",
        InstrumentFault(identity="Simulated,other-supply,0,1.0"),
        WrongInstrument,
        (
            'expected an answer that matches "generic-supply-12ch"',
            'got "Simulated,other-supply,0,1.0"',
            "check the resource in the bench file",
        ),
        0,
    ),
    "the supply refuses a value": (
        "supply",
        InstrumentFault(refuses_above_volts=3.0),
        InstrumentRefused,
        (
            'sent "INST:NSEL 1;:VOLT 3.',
            "expected no error",
            'got -222,"Data out of range',
            "compare the command and its value with the model description",
        ),
        2,
    ),
    "the meter answers no reading": (
        "meter",
        InstrumentFault(silent_after_readings=30),
        InstrumentSilent,
        (
            'sent "READ?"',
            "expected an answer within 5",
            "got nothing",
            "it answers *IDN? and reports no error",
            "raise dialogue.timeout_seconds of its model",
        ),
        1,
    ),
    "the meter answers nothing at all": (
        "meter",
        InstrumentFault(silent_after_messages=35),
        InstrumentSilent,
        (
            'sent "READ?"',
            "got nothing",
            "it does not answer *IDN? and SYST:ERR? either",
            "check that it is switched on",
        ),
        1,
    ),
    "the meter's reading is late": (
        "meter",
        InstrumentFault(late_seconds=TOO_LATE_SECONDS, late_after_messages=35, lasting_messages=1),
        InstrumentSilent,
        ('sent "READ?"', "expected an answer within 5", "got nothing", "raise dialogue.timeout"),
        1,
    ),
    "the meter drops the connection": (
        "meter",
        InstrumentFault(drop_after_messages=35),
        ConnectionLost,
        (
            'sent "READ?"',
            "expected an answer",
            "got the connection closed (closed by the instrument)",
            "check power and cable, and that nothing else talks to it",
        ),
        1,
    ),
    "the relay card drops the connection": (
        "relays",
        InstrumentFault(drop_after_messages=55),
        ConnectionLost,
        ('sent "ROUT:', "expected an answer", "got the connection closed", "check power and cable"),
        1,
    ),
    "the supply drops the connection once": (
        "supply",
        InstrumentFault(drop_after_messages=SUPPLY_IS_UP, lasting_messages=1),
        ConnectionLost,
        ("sent ", "expected an answer", "got the connection closed", "check power and cable"),
        0,
    ),
    "the supply is silent once": (
        "supply",
        InstrumentFault(silent_after_messages=SUPPLY_IS_UP, lasting_messages=1),
        InstrumentSilent,
        ("sent ", "expected an answer within 2 s", "got nothing", "check that it is switched on"),
        0,
    ),
    "the supply is late once": (
        "supply",
        InstrumentFault(
            late_seconds=TOO_LATE_SECONDS, late_after_messages=SUPPLY_IS_UP, lasting_messages=1
        ),
        InstrumentSilent,
        ("sent ", "expected an answer within 2 s", "got nothing", "check that it is switched on"),
        0,
    ),
    "the supply's read-back is not what was set": (
        "supply",
        InstrumentFault(setpoint_readback_offset_volts=0.05),
        SetPointMismatch,
        (
            "channel 1",
            "expected 0 V read back",
            "got 0.05 V",
            "see that nothing else drives the supply",
        ),
        0,
    ),
    "the supply ignores its protection": (
        "supply",
        InstrumentFault(ignores_protection=True),
        SetPointMismatch,
        ("channel 1", "expected 4.87 V read back", "got 6.6 V", "check the ranges in its model"),
        0,
    ),
}


@pytest.mark.parametrize("case", ENDED_BY)
def test_fault_ends_the_run(case: str, measure_on_twin) -> None:
    """A clear error, outputs off, and every point until then kept."""
    name, fault, kind, parts, fewest = ENDED_BY[case]
    progress = Progress()
    run = measure_on_twin(SETUP, Faults(instrument={name: fault}), on_event=progress)
    assert_told(run.error, kind, f"{name} (TCPIP::127.0.0.1::", *parts)
    assert_safe(run, CEILINGS)
    assert_aborted(run, progress.points)
    assert fewest <= run.points < 5
    if run.texts("outputs on"):
        assert_measured_off(run)


def test_nothing_listens_where_the_meter_should_be(measure_on_twin) -> None:
    """Told before anything is switched on."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]

    def without_meter(setup: Setup) -> Setup:
        entries = dict(setup.bench.instruments)
        resource = f"TCPIP::127.0.0.1::{port}::SOCKET"
        entries["meter"] = dataclasses.replace(entries["meter"], resource=resource)
        bench = dataclasses.replace(setup.bench, instruments=entries)
        return dataclasses.replace(setup, bench=bench)

    run = measure_on_twin(SETUP, rewire=without_meter)
    assert_told(
        run.error,
        InstrumentMissing,
        f"meter (TCPIP::127.0.0.1::{port}::SOCKET)",
        "expected an instrument there",
        "got ",
        "refused",
        "check power, cable and the resource in the bench file",
    )
    assert_aborted(run, 0)
    assert () == run.seen.outputs_ever_on


def test_errors_of_somebody_else_are_cleared_at_the_start(measure_on_twin) -> None:
    """A queue filled before the run is emptied and blamed on no command of the run."""
    names = ("supply", "meter", "decade", "relays")
    fault = InstrumentFault(queued_errors=(-113, -222, -350))
    run = measure_on_twin(SETUP, Faults(instrument=dict.fromkeys(names, fault)))
    assert run.error is None
    assert Verdict.PASS == run.judged.judgement.verdict()
    assert_safe(run, CEILINGS)


def test_an_answer_within_the_time_out_is_waited_for(measure_on_twin) -> None:
    """Four seconds late where five are allowed: slow, but nothing is wrong."""
    fault = InstrumentFault(late_seconds=4.0, late_after_messages=40, lasting_messages=2)
    run = measure_on_twin(SETUP, Faults(instrument={"meter": fault}))
    assert run.error is None
    assert Verdict.PASS == run.judged.judgement.verdict()


def test_overload_is_no_value_and_no_pass(measure_on_twin) -> None:
    """Readings of 9.9E37 are kept as no number, never averaged, and the sentence says so."""
    fault = InstrumentFault(overload_after_readings=30)
    run = measure_on_twin(SETUP, Faults(instrument={"meter": fault}))
    assert run.error is None
    assert Verdict.NOT_RUN == run.judged.judgement.verdict()
    missing = [f for f in run.findings("cell-accuracy") if f.verdict is Verdict.NOT_RUN]
    assert "the meter had no number at cell 5 (overload)" in reasons(missing)
    assert_safe(run, CEILINGS)


def test_an_output_that_stays_on_is_told_above_all(measure_on_twin) -> None:
    """A shorted pass transistor: the plan is finished, the outputs are not off."""
    run = measure_on_twin(SETUP, Faults(instrument={"supply": InstrumentFault(stuck_on=True)}))
    assert_told(
        run.error,
        OutputNotOffError,
        "supply (TCPIP::127.0.0.1::",
        "expected every output measured below 0.5 V within 5 s",
        "got channel 1 3.6",
        "channel 12 3.6",
        "switch off by hand, and measure before touching anything",
    )
    assert_aborted(run, 5)
    assert run.seen.highest_cell_volts <= CEILINGS.cell_volts
    assert [] == run.texts("outputs off")
    assert [str(run.error)] == run.texts("output not off")


def test_an_output_that_cannot_be_proved_off_hides_no_other_fault(measure_on_twin) -> None:
    """The supply is gone for good: by hand, and what had ended the run is told as well."""
    fault = InstrumentFault(drop_after_messages=SUPPLY_IS_UP)
    run = measure_on_twin(SETUP, Faults(instrument={"supply": fault}))
    assert_told(run.error, OutputNotOffError, "no measurement of channel 1", "switch off by hand")
    assert run.error is not None
    before = "what had ended the run before that: supply (TCPIP::127.0.0.1::"
    assert [True] == [note.startswith(before) for note in run.error.__notes__]
    assert f"{run.error}; {run.error.__notes__[0]}" == run.judged.header.end_reason


def test_a_measurement_that_lies_upwards_is_never_taken_for_off(measure_on_twin) -> None:
    """The supply measures 0.6 V too much: it cannot be proved off."""
    fault = InstrumentFault(measured_readback_offset_volts=0.6)
    run = measure_on_twin(SETUP, Faults(instrument={"supply": fault}))
    assert_told(run.error, OutputNotOffError, "got channel 1 0.6", "switch off by hand")


def test_an_output_that_is_on_already_is_left_alone(measure_on_twin) -> None:
    """Somebody else's voltage: told at once, nothing is switched."""

    def switched_on(twin: Twin) -> None:
        plant = twin.core.plant
        twin.ask(lambda: (plant.program_volts(3, 2.0), plant.switch_output(3, True)))

    run = measure_on_twin(SETUP, before=switched_on)
    assert_told(
        run.error,
        SafetyError,
        "supply (TCPIP::127.0.0.1::",
        "output of channel 4",
        "expected off before the run",
        "got on",
        "find out who uses it, switch it off at the instrument, then run again",
    )
    assert_aborted(run, 0)
    assert (4,) == run.seen.outputs_on
    assert (4,) == run.seen.outputs_ever_on


@pytest.mark.parametrize("limit_ratio", [1.0, 2.0], ids=["limit kept", "limit not kept"])
def test_a_short_circuit_ends_the_run(limit_ratio: float, measure_on_twin) -> None:
    """5 ohm across cell 4: constant current where constant voltage is expected."""
    faults = Faults(
        leakage=(Leakage(tap=3, other_tap=4, ohms=5.0),),
        instrument={"supply": InstrumentFault(limit_ratio=limit_ratio)},
    )
    run = measure_on_twin(SETUP, faults)
    assert_told(
        run.error,
        SafetyError,
        "supply (TCPIP::127.0.0.1::",
        "channel 4",
        "expected less than its current limit of 0.1 A",
        f"got {0.1 * limit_ratio:g} A (constant current)",
        "look for a short circuit",
    )
    assert_aborted(run, 0)
    assert () == run.seen.outputs_on
    assert run.seen.highest_amperes <= 0.1 * limit_ratio * 1.01


def test_a_relay_that_its_card_says_has_not_closed_is_told(measure_on_twin) -> None:
    """By its number, at its first use, before anything is measured through it."""
    fault = InstrumentFault(stuck_relays=("103",))
    run = measure_on_twin(SETUP, Faults(instrument={"relays": fault}))
    assert_told(run.error, SetPointMismatch, "relays (TCPIP::", "relay 103 stays open")
    assert "outputs off" in " ".join(run.texts("outputs off"))


def test_a_relay_that_never_closes_fails_no_board(measure_on_twin) -> None:
    """The meter hangs in the air at cell 3: that is the bench's fault, not the board's."""
    fault = InstrumentFault(stuck_relays=("103",), hides_stuck_relays=True)
    run = measure_on_twin(SETUP, Faults(instrument={"relays": fault}))
    assert {3} == not_passed(run, "cell-accuracy")
    blamed = [f for f in run.findings("cell-accuracy") if f.channel == 3]
    assert {Verdict.CANNOT_DECIDE} == {f.verdict for f in blamed}
    assert "bench: the meter has" in reasons(blamed)
    assert "look for a relay that does not close" in reasons(blamed)


@pytest.mark.parametrize("messages", [22, 33], ids=["being prepared", "being switched on"])
def test_a_supply_lost_before_it_is_up_is_off(messages: int, measure_on_twin) -> None:
    """The connection ends while limits are programmed, or between the first output and the last."""
    fault = InstrumentFault(drop_after_messages=messages, lasting_messages=1)
    run = measure_on_twin(SETUP, Faults(instrument={"supply": fault}))
    assert_told(run.error, ConnectionLost, "supply (TCPIP::127.0.0.1::", "check power and cable")
    assert_safe(run, CEILINGS)
    assert_measured_off(run)
    assert len(run.seen.outputs_ever_on) < 12


def test_a_supply_lost_in_the_middle_of_switching_off_is_off(measure_on_twin) -> None:
    """Seven outputs are still up when the connection ends; a new one is made for them."""

    def cut_at_channel_five(twin: Twin) -> None:
        plant = twin.core.plant
        switch = plant.switch_output

        def switched(channel: int, is_on: bool, cause: str = "command") -> None:
            was_on = plant.outputs.is_on[channel]
            switch(channel, is_on, cause)
            if (channel, is_on) == (4, False) and was_on:
                for connection in list(twin.core._servers["supply"].connections):
                    connection.drop()

        plant.switch_output = switched

    run = measure_on_twin(SETUP, before=cut_at_channel_five)
    assert run.error is None
    assert 5 == run.points
    assert_safe(run, CEILINGS)
    assert_measured_off(run)
    told = run.texts("fault while switching off")
    assert "expected an answer, got the connection closed" in told[0]


@pytest.mark.parametrize(
    "late_seconds",
    [TOO_LATE_SECONDS, 2 * TOO_LATE_SECONDS],
    ids=["while in step again is sought", "after a new connection was made"],
)
def test_a_late_reading_is_never_taken_for_the_next_one(late_seconds: float) -> None:
    """Cell 1 is answered after the time-out; the reading of cell 2 is that of cell 2."""
    fault = InstrumentFault(late_seconds=late_seconds, late_after_messages=4, lasting_messages=1)
    clock = ScaledClock(SPEED)
    settings = TwinSettings(SETUP, Faults(instrument={"meter": fault}), seed=3, clock=clock)
    volts = tuple(2.5 + 0.1 * k for k in range(12))
    with (
        Twin(settings) as twin,
        open_workbench(twin.attach(SETUP), clock, lambda kind, text, data: None) as bench,
    ):
        bench.set_cells(volts)
        with pytest.raises(InstrumentSilent):
            bench.measure_cells([1], frames=2, readings=1, power_line_cycles=0.2)
        second = bench.measure_cells([2, 3], frames=2, readings=1, power_line_cycles=0.2)
    read = {o.channel: o.value for o in second.observations if o.source is Source.REFERENCE}
    assert {2: pytest.approx(2.6, abs=0.02), 3: pytest.approx(2.7, abs=0.02)} == read
