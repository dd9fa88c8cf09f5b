"""Sequence numbers and uptime of successive frames: what was lost, repeated, restarted.

Counting only; whether a loss matters is decided elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

from harness.descriptions.board import FrameLayout
from harness.protocols.frame_columns import type_bits

# Widths at which firmware counters wrap. A text field does not tell its width, so a fall to 0
# from the last number of one of these is taken for a wrap.
_USUAL_MODULI = frozenset({1 << 8, 1 << 16, 1 << 32, 100, 1000, 10_000, 100_000, 1_000_000})


def sequence_modulus(layout: FrameLayout) -> int | None:
    """The number at which the layout's sequence wraps; None when its field does not tell."""
    for field in layout.fields:
        if field.quantity == "sequence" and field.type and field.type.startswith("u"):
            return 1 << type_bits(field.type)
    return None


@dataclass
class SequenceTracker:
    """Counts over the good frames of one stream.

    modulus : the number at which the sequence wraps, None when it is not known. Losses of a
        whole multiple of it cannot be seen.
    gaps : places where frames are missing; missing : frames missing there.
    duplicates : frames with the number of the one before.
    resets : the number went back; uptime_drops : the uptime went back. One restart of a board
        that sends both counts once in each.
    """

    modulus: int | None = None
    gaps: int = 0
    missing: int = 0
    duplicates: int = 0
    resets: int = 0
    uptime_drops: int = 0
    _last: int | None = None
    _last_uptime: float | None = None

    def feed(self, sequence: int | None, uptime_seconds: float | None = None) -> None:
        """Take in the next good frame; None for what the layout lacks."""
        if sequence is not None:
            if self._last is not None:
                self._compare(self._last, sequence)
            self._last = sequence
        if uptime_seconds is not None:
            if self._last_uptime is not None and uptime_seconds < self._last_uptime:
                self.uptime_drops += 1
            self._last_uptime = uptime_seconds

    def _compare(self, last: int, sequence: int) -> None:
        step = self._step(last, sequence)
        if step == 0:
            self.duplicates += 1
        elif step < 0:
            self.resets += 1
        elif step > 1:
            self.gaps += 1
            self.missing += step - 1

    def _step(self, last: int, sequence: int) -> int:
        """How far the sequence went on; negative when it went back."""
        if self.modulus is None:
            has_wrapped = sequence == 0 and last + 1 in _USUAL_MODULI
            return 1 if has_wrapped else sequence - last
        # The nearer way round: half the modulus forward is a gap, more is going back.
        forward = (sequence - last) % self.modulus
        return forward if forward <= self.modulus // 2 else forward - self.modulus
