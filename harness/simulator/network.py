"""The bench as a resistive network, solved by modified nodal analysis.

Sources, ladder rungs, leads, contacts, the board's input currents, leakages, bleed resistors
and the meter's input resistance are all in one linear circuit. While its topology stands, pin
voltages and channel currents are linear in the source voltages, so one solution serves until
a relay moves. Nothing here knows about time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from harness.observation import FloatArray

# Below this a joint is none: its two nodes are one. Kept as a resistor it would cost digits; at
# 100 mA it drops 0.1 uV.
LEAST_OHMS = 1.0e-6

# Board inputs leak a little from pin to pin. It decides where a pin settles whose lead is
# open; on any connected pin it is invisible (33 nA at 3.3 V).
PIN_TO_PIN_OHMS = 1.0e8


class Circuit:
    """A circuit of resistors, current sources and voltage sources with series resistance.

    Node 0 is the reference. Unknowns are the other nodes' voltages and the current delivered
    by each voltage source (modified nodal analysis, Ho, Ruehli and Brennan, IEEE Trans. Circuits
    Syst. CAS-22 (1975) 504-509; from memory).
    """

    def __init__(self, nodes: int) -> None:
        self._nodes = nodes
        self._representative = list(range(nodes))
        self._resistors: list[tuple[int, int, float]] = []
        self._currents: list[tuple[int, int, float]] = []
        self._sources: list[tuple[int, int, float]] = []

    def add_resistor(self, a: int, b: int, ohms: float) -> None:
        """A resistor between nodes `a` and `b`; below `LEAST_OHMS` it makes them one."""
        if ohms < LEAST_OHMS:
            self._join(a, b)
        else:
            self._resistors.append((a, b, ohms))

    def _join(self, a: int, b: int) -> None:
        kept, gone = sorted((self._representative[a], self._representative[b]))
        self._representative = [kept if n == gone else n for n in self._representative]

    def add_current(self, a: int, b: int, amperes: float) -> None:
        """A current that leaves node `a` and enters node `b`."""
        self._currents.append((a, b, amperes))

    def add_source(self, minus: int, plus: int, ohms: float) -> None:
        """A voltage source with series resistance; sources count in the order they are added."""
        self._sources.append((minus, plus, ohms))

    def solve(self) -> tuple[FloatArray, FloatArray]:
        """Voltages and source currents as linear functions of the source voltages.

        Returns
        -------
        voltages : shape (nodes, sources + 1); currents : shape (sources, sources + 1). The
        last column is what the constant currents cause; volts and amperes.
        """
        matrix, right = self._equations()
        found = np.zeros_like(right)
        unknown = [n > 0 and n == kept for n, kept in enumerate(self._representative)]
        kept = np.array(unknown + [True] * len(self._sources))
        found[kept] = np.linalg.solve(matrix[np.ix_(kept, kept)], right[kept])
        return found[self._representative], found[self._nodes :]

    def _equations(self) -> tuple[FloatArray, FloatArray]:
        """Kirchhoff's current law at each node, then each source's own law."""
        nodes, sources, at = self._nodes, len(self._sources), self._representative
        matrix = np.zeros((nodes + sources, nodes + sources))
        right = np.zeros((nodes + sources, sources + 1))
        for a, b, ohms in self._resistors:
            if at[a] != at[b]:
                ends = np.ix_([at[a], at[b]], [at[a], at[b]])
                matrix[ends] += np.array([[1.0, -1.0], [-1.0, 1.0]]) / ohms
        for a, b, amperes in self._currents:
            right[at[a], -1] -= amperes
            right[at[b], -1] += amperes
        for index, (minus, plus, ohms) in enumerate(self._sources):
            row = nodes + index
            matrix[at[plus], row] -= 1.0
            matrix[at[minus], row] += 1.0
            matrix[row, at[plus]] += 1.0
            matrix[row, at[minus]] -= 1.0
            matrix[row, row] += ohms
            right[row, index] = 1.0
        return matrix, right


@dataclass(frozen=True)
class StackFacts:
    """What is fixed about a stack: sources, rungs, leads, and what the board draws.

    rung_ohms : None for one source a cell, else the resistor between neighbouring taps of a
    ladder; shunt_ohms : what a closed rung-shunt relay puts across it.
    tap_ohms : lead and contact of each tap T0..TN, shape (cells + 1,).
    tap_amperes : constant current into the board at each tap, returning at T0; T0's is ignored.
    divider_ohms : resistance from each tap to T0 inside the board (0 means none).
    supply_amperes : current into TN and out of T0.
    leakages : (tap, tap, ohms); bleeds : (cell, ohms), resistors switched on all the time.
    open_taps : taps whose lead is broken.
    """

    cells: int
    output_ohms: float
    tap_ohms: tuple[float, ...]
    rung_ohms: float | None = None
    shunt_ohms: float | None = None
    tap_amperes: tuple[float, ...] = ()
    divider_ohms: tuple[float, ...] = ()
    supply_amperes: float = 0.0
    leakages: tuple[tuple[int, int, float], ...] = ()
    bleeds: tuple[tuple[int, float], ...] = ()
    open_taps: frozenset[int] = frozenset()

    @property
    def sources(self) -> int:
        """Number of voltage sources."""
        return self.cells if self.rung_ohms is None else 1


@dataclass(frozen=True)
class MeterContact:
    """One closed path of the meter: its terminals on two taps through `ohms` each."""

    high_tap: int
    low_tap: int
    ohms: float = 0.0


@dataclass(frozen=True)
class Topology:
    """What relays can change: the meter's closed paths, its input, and the closed shunts."""

    contacts: tuple[MeterContact, ...] = ()
    meter_ohms: float = 1.0e10
    shunted_rungs: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Solution:
    """Everything of interest as `rows @ [source volts..., share of board currents]`.

    rows : shape (cells + 1 + sources + 1, sources + 1): pin voltages against the stack's
    negative source terminal, source currents, and the voltage across the meter.
    """

    rows: FloatArray
    cells: int
    sources: int

    def at(self, source_volts: FloatArray, current_share: float = 1.0) -> FloatArray:
        """All rows at these source volts, with board currents at `current_share` of full."""
        return self.rows[:, :-1] @ source_volts + self.rows[:, -1] * current_share

    def pins(self, values: FloatArray) -> FloatArray:
        """Pin voltages T0..TN out of what `at` returned, shape (cells + 1,)."""
        return values[: self.cells + 1]

    def currents(self, values: FloatArray) -> FloatArray:
        """Current delivered by each source out of what `at` returned, shape (sources,)."""
        return values[self.cells + 1 : self.cells + 1 + self.sources]

    def current_matrix(self) -> FloatArray:
        """Source currents by source volts, shape (sources, sources + 1)."""
        return self.rows[self.cells + 1 : self.cells + 1 + self.sources]


@dataclass
class StackNetwork:
    """Solves a stack for each topology once and remembers the answer."""

    facts: StackFacts
    _solved: dict[Topology, Solution] = field(default_factory=dict)

    def solution(self, topology: Topology) -> Solution:
        """The linear solution for `topology`."""
        found = self._solved.get(topology)
        if found is None:
            found = self._solved[topology] = solve_stack(self.facts, topology)
        return found


def solve_stack(facts: StackFacts, topology: Topology) -> Solution:
    """Solve the stack described by `facts` in one topology.

    Nodes: 0..N the source taps, N+1..2N+1 the board's pins, then the meter's two terminals
    when it is connected.
    """
    taps = facts.cells + 1
    circuit = Circuit(2 * taps + (2 if topology.contacts else 0))
    _add_sources(circuit, facts, topology.shunted_rungs)
    _add_board(circuit, facts)
    _add_meter(circuit, topology, taps)
    voltages, currents = circuit.solve()
    meter = voltages[2 * taps] - voltages[2 * taps + 1] if topology.contacts else 0 * voltages[0]
    rows = np.vstack([voltages[taps : 2 * taps], currents, meter])
    return Solution(rows=rows, cells=facts.cells, sources=facts.sources)


def _add_sources(circuit: Circuit, facts: StackFacts, shunted: frozenset[int]) -> None:
    if facts.rung_ohms is None:
        for cell in range(1, facts.cells + 1):
            circuit.add_source(cell - 1, cell, facts.output_ohms)
        return
    circuit.add_source(0, facts.cells, facts.output_ohms)
    for cell in range(1, facts.cells + 1):
        circuit.add_resistor(cell - 1, cell, facts.rung_ohms)
        if cell in shunted and facts.shunt_ohms is not None:
            circuit.add_resistor(cell - 1, cell, facts.shunt_ohms)


def _add_board(circuit: Circuit, facts: StackFacts) -> None:
    taps = facts.cells + 1
    amperes = _at_taps(facts.tap_amperes, taps)
    dividers = _at_taps(facts.divider_ohms, taps)
    for tap in range(taps):
        if tap not in facts.open_taps:
            circuit.add_resistor(tap, taps + tap, facts.tap_ohms[tap])
            circuit.add_current(taps + tap, taps, amperes[tap])
        if tap > 0:
            circuit.add_resistor(taps + tap - 1, taps + tap, PIN_TO_PIN_OHMS)
            if dividers[tap] > 0:
                circuit.add_resistor(taps, taps + tap, dividers[tap])
    if not {0, facts.cells} & facts.open_taps:
        circuit.add_current(2 * taps - 1, taps, facts.supply_amperes)
    for a, b, ohms in facts.leakages:
        circuit.add_resistor(taps + a, taps + b, ohms)
    for cell, ohms in facts.bleeds:
        circuit.add_resistor(taps + cell - 1, taps + cell, ohms)


def _at_taps(values: Sequence[float], taps: int) -> Sequence[float]:
    return values if values else (0.0,) * taps


def _add_meter(circuit: Circuit, topology: Topology, taps: int) -> None:
    """Two closed paths short tap to tap through their contacts, as they would on a bench."""
    if not topology.contacts:
        return
    high, low = 2 * taps, 2 * taps + 1
    circuit.add_resistor(high, low, topology.meter_ohms)
    for contact in topology.contacts:
        circuit.add_resistor(high, taps + contact.high_tap, contact.ohms)
        circuit.add_resistor(low, taps + contact.low_tap, contact.ohms)
