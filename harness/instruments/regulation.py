"""Whether a supply channel holds its voltage, from what it measures itself. Pure.

The supply's own measurement is a plausibility check and never the reference.
"""

from __future__ import annotations

from dataclasses import dataclass

from harness.descriptions.instrument import SupplyModel
from harness.instruments.envelope import ChannelState

# At this share of its limit a channel is taken to be in constant current.
CONSTANT_CURRENT_RATIO = 0.98

# Leads, sense errors and converters beyond the declared accuracies; common practice, no source.
REGULATION_TOLERANCE_VOLTS = 0.02


@dataclass(frozen=True)
class Measured:
    """What a channel itself measures at its output."""

    volts: float
    amperes: float


def tolerance_volts(volts: float, model: SupplyModel) -> float:
    """Largest plausible difference between set and measured `volts`, unloaded.

    The declared accuracies of setting and measuring, added, and what leads add.
    """
    ppm = model.set_accuracy_ppm + model.readback_accuracy_ppm
    fixed = model.set_accuracy_volts + model.readback_accuracy_volts
    return abs(volts) * ppm * 1e-6 + fixed + REGULATION_TOLERANCE_VOLTS


def regulation_fault(
    measured: Measured, state: ChannelState, ceiling_volts: float, model: SupplyModel
) -> str:
    """What is wrong with the channel, in words; nothing when it regulates.

    Parameters
    ----------
    state : set-point and current limit that were read back; ceiling_volts : of the channel.
    """
    limit = state.limit_amperes or 0.0
    if not measured.amperes < CONSTANT_CURRENT_RATIO * limit:
        return (
            f"expected less than its current limit of {limit:g} A, got "
            f"{measured.amperes:g} A (constant current); look for a short circuit or a "
            "board that draws too much"
        )
    wanted = min(state.possible_volts, default=0.0)
    tolerance = tolerance_volts(wanted, model) + model.output_ohms * limit
    if not measured.volts >= wanted - tolerance:
        return (
            f"expected {wanted:g} V within {tolerance:.3g} V, got {measured.volts:g} V; "
            "look for an overload or a broken sense lead"
        )
    if not measured.volts <= ceiling_volts + tolerance_volts(ceiling_volts, model):
        return (
            f"expected at most {ceiling_volts:g} V, got {measured.volts:g} V; "
            "look for what drives the channel from outside"
        )
    return ""
