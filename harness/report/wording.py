"""The fixed words of a report: cautions, decision rule, method and its confounders.

Sentences only; what depends on the run comes from the setup. Nothing here decides.
"""

from __future__ import annotations

import math

from harness.descriptions.instrument import AgeColumn
from harness.descriptions.plan import Decision
from harness.descriptions.setup import Setup

IN_HOUSE = "Test report of an in-house procedure; not an accredited calibration certificate."
RELATES_ONLY = "This report relates only to the item tested."
SIMULATED = "SIMULATED BENCH, invented data"
NOT_TRACEABLE = "reference not traceable, specification assumed"

CAUTIONS = (
    "Stacks above 60 V DC can kill. Stay below, or work under an enclosure made for it.",
    "Capacitors keep their charge and cells keep their energy after the supplies are off: "
    "measure before touching. A real cell drives hundreds of amperes into a dropped tool.",
    "Never make a live pack the first test of a board.",
    "Bleed resistors get hot enough to burn skin and stay hot.",
    "Local electrical codes and licensed practice rule over everything written here.",
)

COLUMN_WORDS = {
    AgeColumn.DAY.value: "24 hours",
    AgeColumn.QUARTER.value: "90 days",
    AgeColumn.YEAR.value: "1 year",
}


def decision_rule_words(decision: Decision) -> tuple[str, ...]:
    """The decision rule in sentences (non-binary statement of ILAC-G8:09/2019, 4.2.3)."""
    percent = f"{decision.coverage_probability * 100:g} %"
    interval = (
        "e is the error (board minus reference), T the limit, and U the expanded uncertainty "
        f"of e for a coverage probability of {percent}; its coverage factor k follows from the "
        "shape of the combined distribution and is given with each finding."
    )
    below = (
        "Where T / U is below 1 the reference is not good enough and the statement is cannot "
        "decide, except where |e| is above T + U: that is a fail whatever the reference."
    )
    if decision.rule == "simple":
        rule = (
            "Rule: simple acceptance, no guard band. Pass: |e| is at most T. Fail: |e| is above "
            "T. Near the limit a wrong statement either way is as likely as one half."
        )
    else:
        rule = (
            "Rule: guard band w = U on either side of the limit. Pass: |e| is at most T \u2212 U. "
            "Conditional pass: |e| is between T \u2212 U and T. Conditional fail: |e| is between T "
            "and T + U. Fail: |e| is above T + U."
        )
    risk = (
        "For each finding the probability is given that the statement is wrong: false accept "
        "when it was accepted, false reject when it was rejected. The other one does not "
        "apply. The board's verdict is the worst of its findings; a missing value "
        "is never a pass."
    )
    return (interval, rule, below, risk)


def method_notes(setup: Setup) -> tuple[str, ...]:
    """What was done, and what this run cannot tell apart."""
    return (*_method(setup), *_confounders(setup))


def _method(setup: Setup) -> tuple[str, ...]:
    kinds = {check.kind for check in setup.plan.check}
    notes = [
        "The reference is what the meter reads at the board's connector pins with the board "
        "connected and in the same state, while the board samples. Supply set-points are never "
        "the reference. Errors are board minus reference, no correction applied.",
    ]
    if "thermistor-accuracy" in kinds:
        notes.append(
            "Thermistor inputs were given resistances; the reference temperature follows from "
            "the declared curve. The thermistors themselves, their self-heating and where they "
            "sit were not tested."
        )
    return tuple(notes)


def _confounders(setup: Setup) -> tuple[str, ...]:
    inputs = setup.board.cell_inputs
    smallest = inputs.resolution_volts / math.sqrt(12) * 1e3
    if setup.bench.wiring.topology == "ladder":
        sweep = (
            "Ladder: all cells rise and fall together, so a channel's gain error and its "
            "common-mode error cannot be told apart, and a current drawn at one tap shifts "
            "every cell."
        )
    else:
        sweep = (
            "Cell accuracy sweeps all cells together, so a channel's gain error and its "
            "common-mode error cannot be told apart from that sweep."
        )
    return (
        sweep,
        f"The board reports in steps of {inputs.resolution_volts * 1e3:g} mV: offsets below "
        f"about {smallest:.1g} mV (step / \u221a12) carry no meaning unless noise spreads the "
        "readings over several steps.",
        "All was measured at one ambient temperature: nothing is said about temperature "
        "coefficients or long-term drift.",
    )
