"""A board that is silent, unplugged, garbled or sends what nobody declared."""

from __future__ import annotations

import dataclasses
import re

import pytest
from fault_rig import Progress, assert_aborted, assert_measured_off, assert_safe, assert_told
from twin_runs import setup_of, with_checks

from harness.descriptions.plan import ThermistorFaultsSettings
from harness.descriptions.setup import Setup
from harness.errors import BoardError
from harness.link.faults import BoardFrameFault, BoardMissing, BoardSilent, BoardUnplugged
from harness.metrology.decision import Verdict
from harness.records.store import Store
from harness.simulator.faults import Faults, LinkFault
from harness.simulator.twin import Twin

SETUP = setup_of()
CEILINGS = SETUP.bench.ceilings
FRAME_ADVICE = "compare [frame] of the board description with what the board sends"

# (board, fault, parts of the error's text in order)
ENDED_BY = {
    "every check is bad": (
        "heron",
        LinkFault(bad_check_share=1.0),
        ("expected a new frame", "bad check", "expected the check", "got", FRAME_ADVICE),
    ),
    "every cell 3 is nan": (
        "heron",
        LinkFault(text_share=1.0, text_field=3, text="nan"),
        ("not a number", "cell_voltage 3", "expected a number", 'got "nan"', FRAME_ADVICE),
    ),
    "every cell 3 is text": (
        "heron-key-value",
        LinkFault(text_share=1.0, text_field=3, text="ERR"),
        ('cell_voltage 3 at key "c3"', "expected a number", 'got "ERR"', FRAME_ADVICE),
    ),
    "eleven cells": (
        "heron",
        LinkFault(cells_sent=11),
        ("wrong field count", "expected 18 fields", "got 17", FRAME_ADVICE),
    ),
    "eleven cells, JSON": (
        "heron-json",
        LinkFault(cells_sent=11),
        ('key "cells"', "expected 12 values", "got 11", FRAME_ADVICE),
    ),
    "eleven cells, binary": (
        "heron-binary",
        LinkFault(cells_sent=11),
        ("bad check", "expected the check", "got", FRAME_ADVICE),
    ),
}


@pytest.mark.parametrize("case", ENDED_BY)
def test_a_board_of_which_no_frame_is_right_ends_the_run(case: str, measure_on_twin) -> None:
    """It may be powered by the cells, so this shows when they are up: told, and off again."""
    board, fault, parts = ENDED_BY[case]
    run = measure_on_twin(setup_of(board=board), Faults(link=fault))
    assert_told(run.error, BoardFrameFault, "board (/dev/", *parts)
    assert_safe(run, CEILINGS)
    assert_aborted(run, 0)
    assert_measured_off(run)


WATCHING = ThermistorFaultsSettings(kind="thermistor-open-short", reaction_seconds=1.0)


@pytest.mark.parametrize(
    "setup", [SETUP, with_checks(SETUP, WATCHING)], ids=["cells", "thermistors watched"]
)
@pytest.mark.parametrize(
    ("fault", "kind", "parts"),
    [
        (
            LinkFault(unplugged_after_seconds=0.0),
            BoardUnplugged,
            ("expected an open port", "unplugged", "plug the board in again"),
        ),
        (
            LinkFault(silent_after_seconds=0.0),
            BoardSilent,
            (
                "expected a new frame within 0.15 s",
                "got nothing",
                "check that the board is powered, awake and sending, and refresh_seconds",
            ),
        ),
    ],
    ids=["unplugged", "silent"],
)
def test_a_board_lost_in_the_middle_ends_the_run(
    setup: Setup, fault: LinkFault, kind: type[BoardError], parts: tuple[str, ...], measure_on_twin
) -> None:
    """After two points; also where nobody waits for settled frames, as in the last check."""
    progress = Progress(act_after=2)

    def watch(twin: Twin, store: Store) -> None:
        stream = twin.core.stream
        progress.act = lambda: twin.ask(lambda: setattr(stream, "_fault", fault))

    run = measure_on_twin(setup, on_event=progress, watch=watch)
    assert_told(run.error, kind, "board (/dev/", *parts)
    assert_safe(run, CEILINGS)
    assert_aborted(run, 2)
    assert_measured_off(run)


def test_a_port_that_is_not_there(measure_on_twin) -> None:
    """Told before anything is switched on."""

    def elsewhere(setup: Setup) -> Setup:
        serial = dataclasses.replace(setup.board.serial, port="/dev/no-such-board")
        return dataclasses.replace(setup, board=dataclasses.replace(setup.board, serial=serial))

    run = measure_on_twin(SETUP, rewire=elsewhere)
    assert_told(
        run.error,
        BoardMissing,
        "board (/dev/no-such-board)",
        "expected a serial port",
        "No such file or directory",
        "check that the board is plugged in, that serial.port names it",
    )
    assert_aborted(run, 0)
    assert () == run.seen.outputs_ever_on


# (board, fault, what the link statistics must count)
RECOVERED = {
    "bad checks": ("heron", LinkFault(bad_check_share=0.2), "with a wrong check"),
    "bad checks, by key": ("heron-key-value", LinkFault(bad_check_share=0.2), "with a wrong check"),
    "bad checks, binary": ("heron-binary", LinkFault(bad_check_share=0.2), "with a wrong check"),
    "garbage": ("heron", LinkFault(garbage_share=0.3), "bytes of noise"),
    "garbage, JSON": ("heron-json", LinkFault(garbage_share=0.3), "bytes of noise"),
    "nan": ("heron", LinkFault(text_share=0.2, text_field=3), "with text for a number"),
    "frames lost": ("heron", LinkFault(dropped_share=0.1), "missing"),
}


@pytest.mark.parametrize("case", RECOVERED)
def test_some_bad_frames_are_counted_and_left_out(case: str, measure_on_twin) -> None:
    """A good board on a poor link passes, and the record says what was left out."""
    board, fault, count = RECOVERED[case]
    run = measure_on_twin(setup_of(board=board), Faults(link=fault))
    assert run.error is None
    assert Verdict.PASS == run.judged.judgement.verdict()
    (told,) = run.texts("link statistics")
    assert re.fullmatch(rf"\d+ good frames; (.*, )?[1-9]\d* {count}(, .*)?", told)
    assert_safe(run, CEILINGS)
    assert_measured_off(run)
