"""Steady readings counted in codes: how many of the board's steps each lies from the middle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.observation import FloatArray, IntArray, Observations, Quantity, Source


@dataclass(frozen=True)
class CodeCounts:
    """Readings of one channel; codes count from the channel's median code.

    codes, counts : shape (n,), every code between the lowest and the highest.
    deviation_codes : standard deviation of the readings in codes, NaN below two readings.
    missing : readings without a value.
    """

    channel: int
    codes: IntArray
    counts: IntArray
    deviation_codes: float
    missing: int


def code_counts(
    observations: Observations, check_index: int, resolution_volts: float
) -> tuple[CodeCounts, ...]:
    """Counts of each cell channel of the board in check `check_index`; empty without any.

    Parameters
    ----------
    resolution_volts : the board's reporting step q, volts, > 0.
    """
    mine = observations.of(check=check_index, source=Source.BOARD, quantity=Quantity.CELL_VOLTAGE)
    return tuple(
        _count(int(channel), mine.value[mine.channel == channel], resolution_volts)
        for channel in np.unique(mine.channel)
    )


def _count(channel: int, volts: FloatArray, resolution_volts: float) -> CodeCounts:
    known = volts[np.isfinite(volts)]
    if not len(known):
        nothing = np.zeros(0, dtype=np.int64)
        return CodeCounts(channel, nothing, nothing, float("nan"), len(volts))
    codes = np.rint(known / resolution_volts).astype(np.int64)
    codes -= int(np.sort(codes)[len(codes) // 2])
    low, high = int(codes.min()), int(codes.max())
    deviation = float(known.std(ddof=1)) / resolution_volts if len(known) > 1 else float("nan")
    return CodeCounts(
        channel=channel,
        codes=np.arange(low, high + 1),
        counts=np.bincount(codes - low, minlength=high - low + 1),
        deviation_codes=deviation,
        missing=len(volts) - len(known),
    )
