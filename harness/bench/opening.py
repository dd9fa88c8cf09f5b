"""Opening a bench and, on every way out, proving it off.

The order of opening: locks on every resource, then who answers, relays open, refuse if an
output is on, then the board's port. Nothing is energised here. The order of closing: 0 V and
outputs off on every channel, measured off, relays open, ports closed, locks released, with
stopping signals held back meanwhile. When off cannot be proved the error says "switch off by
hand" and stands before whatever ended the run.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from types import MappingProxyType
from typing import NamedTuple

from harness.bench.stopping import signals_held
from harness.bench.workbench import BenchParts, ReportEvent, Workbench
from harness.descriptions.instrument import (
    DecadeModel,
    InstrumentModel,
    MeterModel,
    SupplyModel,
    SwitchModel,
)
from harness.descriptions.paths import resolve_relay
from harness.descriptions.setup import Setup
from harness.errors import OutputNotOffError, TapproofError
from harness.instruments.bench_lock import BenchLock
from harness.instruments.decade import Decade
from harness.instruments.driver import Driver
from harness.instruments.meter import Meter
from harness.instruments.relay_guard import RelayGuard
from harness.instruments.supply import Supply
from harness.instruments.switch import Switch
from harness.instruments.transport import Transport
from harness.instruments.visa_wire import open_wire
from harness.link.board_link import BoardLink
from harness.timebase import Clock


@contextmanager
def open_workbench(setup: Setup, clock: Clock, report_event: ReportEvent) -> Iterator[Workbench]:
    """The bench of `setup`, open and identified; proved off on leaving.

    A stop that comes where its `__exit__` is entered would skip that; whoever opens it under
    stopping signals leaves it a second time after an error, which does nothing where the first
    was whole.

    Parameters
    ----------
    report_event : called with kind, text and data of what the record should keep.

    Raises
    ------
    BenchBusy : another run holds one of its resources.
    InstrumentError : an instrument is missing, silent, or another one than declared.
    SafetyError : an output is on already. BoardError : the board's port cannot be opened.
    OutputNotOffError : on leaving, an output could not be proved off.
    """
    with ExitStack() as stack:
        resources = [entry.resource for entry in setup.bench.instruments.values()]
        stack.enter_context(BenchLock([*resources, setup.board.serial.port], clock))
        parts = BenchParts()
        guard = _relay_guard(setup)
        for name in _opening_order(setup):
            _open_instrument(setup, name, clock, guard, parts, stack)
        parts.link = BoardLink(
            setup.board.serial, setup.board.frame, setup.board.refresh_seconds, clock
        )
        stack.callback(parts.link.close)
        bench = Workbench(setup, clock, parts, report_event)
        proof = _OffProof(parts, report_event)
        try:
            try:
                yield bench
            finally:
                proof.make()
        finally:
            # A stop may come between leaving the bench and holding signals back; it comes once.
            proof.make()


def _opening_order(setup: Setup) -> list[str]:
    """Relays first, so that nothing is connected while the rest is looked at; supply last."""
    order = {"switch": 0, "meter": 1, "decade": 2, "supply": 3}
    return sorted(
        setup.bench.instruments, key=lambda name: order[setup.bench.instruments[name].role]
    )


def _relay_guard(setup: Setup) -> RelayGuard:
    return RelayGuard(
        [resolve_relay(relay, setup) for relay in group]
        for group in setup.bench.paths.never_together
    )


def _open_instrument(
    setup: Setup,
    name: str,
    clock: Clock,
    guard: RelayGuard,
    parts: BenchParts,
    stack: ExitStack,
) -> None:
    """Connect to one instrument, check who it is, and put it into its part."""
    entry, model = setup.bench.instruments[name], setup.models[name]
    wire = open_wire(entry.resource, model.dialogue, setup.bench.visa.library, name)
    transport = Transport(wire, name, entry.resource, model.dialogue, clock)
    stack.callback(transport.close)
    driver = _place(setup, name, model, transport, guard, parts)
    driver.open()
    parts.identities[name] = driver.identity


def _place(
    setup: Setup,
    name: str,
    model: InstrumentModel,
    transport: Transport,
    guard: RelayGuard,
    parts: BenchParts,
) -> Driver:
    if isinstance(model, SupplyModel):
        parts.supply = Supply(transport, model, setup.bench.ceilings, setup.bench.wiring)
        return parts.supply
    if isinstance(model, MeterModel):
        parts.meter = Meter(transport, model, setup.bench.line_frequency_hertz)
        return parts.meter
    if isinstance(model, DecadeModel):
        parts.decade = Decade(transport, model)
        return parts.decade
    assert isinstance(model, SwitchModel)
    parts.switches[name] = Switch(transport, model, name, guard)
    return parts.switches[name]


class _OffProof:
    """The proof that outputs are off: made once, however often it is asked for."""

    def __init__(self, parts: BenchParts, report_event: ReportEvent) -> None:
        self._parts = parts
        self._report_event = report_event
        self._is_made = False

    def make(self) -> None:
        """Switch off and measure, with stopping signals held back; see `_prove_off`."""
        if self._is_made:
            return
        with signals_held():
            try:
                _prove_off(self._parts, self._report_event)
            finally:
                self._is_made = True


class _Told(NamedTuple):
    """One event for record and face."""

    kind: str
    text: str
    data: Mapping[str, object] = MappingProxyType({})


def _prove_off(parts: BenchParts, report_event: ReportEvent) -> None:
    """Outputs off and measured off, relays open; only then told to record and face.

    Relays open in any case, also under an output that stays up: they carry the meter and the
    decade, so that opening them switches no load.
    """
    told: list[_Told] = []
    failure: OutputNotOffError | None = None
    try:
        told += _switch_off(parts.supply)
    except OutputNotOffError as error:
        failure = error
        told.append(_Told("output not off", str(error)))
    for switch in parts.switches.values():
        told += _open_relays(switch)
    for event in told:
        trouble = _try_to_report(report_event, event)
        if failure and trouble:
            failure.add_note(trouble)
    if failure:
        raise failure


def _switch_off(supply: Supply | None) -> list[_Told]:
    """Outputs off; whatever else than a proof comes of it counts as none.

    Raises
    ------
    OutputNotOffError : there is no proof.
    """
    if supply is None:
        return []
    try:
        proof = supply.safe_off()
    except OutputNotOffError:
        raise
    except BaseException as error:
        raise OutputNotOffError(
            f"{supply.place}: expected every output switched off and measured off, got "
            f"{type(error).__name__}: {error}; switch off by hand, and measure before touching "
            "anything"
        ) from error
    highest = max((abs(v) for v in proof.volts.values() if v is not None), default=0.0)
    off = _Told(
        "outputs off",
        f"outputs off, measured {highest:.3f} V at most",
        {"volts": {str(channel): volts for channel, volts in proof.volts.items()}},
    )
    return [off, *(_Told("fault while switching off", fault) for fault in proof.faults)]


def _open_relays(switch: Switch) -> list[_Told]:
    """All relays of one card open; what fails is told and keeps no other from being opened."""
    try:
        switch.safe_open()
    except Exception as error:  # noqa: BLE001 (the other cards and the report must come)
        is_ours = isinstance(error, TapproofError)
        text = str(error) if is_ours else f"{switch.place}: {type(error).__name__}: {error}"
        return [_Told("fault while switching off", text)]
    return []


def _try_to_report(report_event: ReportEvent, event: _Told) -> str:
    """Report; returns what was wrong with that, in words, for nothing may end the way out.

    A record that can no longer be written is what ended the run, or says so at the next write;
    so does a screen that has gone.
    """
    try:
        report_event(*event)
    except Exception as error:  # noqa: BLE001 (see above)
        return f"{event.kind!r} could not be told everywhere: {str(error) or repr(error)}"
    return ""
