"""The conditions of a run in words: ambient as observed, else as declared."""

from __future__ import annotations

import numpy as np

from harness.observation import Observations, Quantity, Source
from harness.report.document import ReportInput

_ASKED = (
    (Quantity.TEMPERATURE, "Air temperature", "°C"),
    (Quantity.RELATIVE_HUMIDITY, "Relative humidity", "%"),
)


def conditions(report: ReportInput) -> tuple[str, ...]:
    """One sentence a quantity, and what else bears on the results."""
    ambient, board = report.setup.bench.ambient, report.setup.board
    declared = (ambient.celsius, ambient.relative_humidity_percent)
    sentences = [
        _sentence(report.observations, quantity, name, symbol, value)
        for (quantity, name, symbol), value in zip(_ASKED, declared, strict=True)
    ]
    if board.warm_up_seconds:
        sentences.append(f"Declared warm-up of the board: {board.warm_up_seconds:g} s.")
    settling = report.setup.plan.settling
    sentences.append(
        f"A point counts as settled when drift and slope stay inside "
        f"{settling.budget_volts * 1e3:g} mV or {settling.budget_celsius:g} °C; longest wait "
        f"{settling.timeout_seconds:g} s."
    )
    return tuple(sentences)


def _sentence(
    observations: Observations, quantity: Quantity, name: str, symbol: str, declared: float
) -> str:
    seen = observations.of(source=Source.AMBIENT, quantity=quantity).value
    seen = seen[np.isfinite(seen)]
    if not len(seen):
        return f"{name}: {declared:.1f} {symbol}, as declared by the operator."
    return f"{name}: {seen.min():.1f} to {seen.max():.1f} {symbol}, observed during the run."
