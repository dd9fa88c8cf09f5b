"""From bench and board descriptions and planted faults to the facts of the stack's network."""

from __future__ import annotations

from harness.descriptions.instrument import SupplyModel
from harness.descriptions.setup import Setup
from harness.simulator.faults import Faults, TapFault
from harness.simulator.network import StackFacts


def stack_facts(setup: Setup, faults: Faults, supply: SupplyModel) -> StackFacts:
    """The network of this bench with this board on it and these faults in it.

    Each lead is the wiring's lead and contact in series; the board draws its declared input
    current at T1..TN, returning at T0, and its declared supply current from TN to T0.
    """
    wiring, inputs = setup.bench.wiring, setup.board.cell_inputs
    taps = [_tap_fault(faults, tap) for tap in range(wiring.cells + 1)]
    is_ladder = wiring.topology == "ladder"
    rung = wiring.rung_ohms if is_ladder else None
    ratio = wiring.rung_shunt_ratio
    return StackFacts(
        cells=wiring.cells,
        output_ohms=supply.output_ohms,
        tap_ohms=tuple(wiring.lead_ohms + wiring.contact_ohms + t.series_ohms for t in taps),
        rung_ohms=rung,
        shunt_ohms=rung * ratio if rung is not None and ratio is not None else None,
        tap_amperes=tuple(
            inputs.input_amperes if t.input_amperes is None else t.input_amperes for t in taps
        ),
        divider_ohms=tuple(t.divider_ohms for t in taps),
        supply_amperes=inputs.supply_amperes,
        leakages=tuple((f.tap, f.other_tap, f.ohms) for f in faults.leakage),
        bleeds=tuple((f.cell, f.ohms) for f in faults.bleed),
        open_taps=frozenset(t.tap for t in taps if t.is_open),
    )


def _tap_fault(faults: Faults, tap: int) -> TapFault:
    return next((fault for fault in faults.tap if fault.tap == tap), TapFault(tap=tap))
