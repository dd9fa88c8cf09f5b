"""A board's frames as they come: a thread reads, stamps, decodes and keeps them.

The thread owns the port. Everybody else asks for frames that arrived after some moment, and
is told at once when the board falls silent, is unplugged, or sends only bad frames. Frames
with the sequence number of the one before carry nothing new; they are counted and dropped.
"""

from __future__ import annotations

import threading
import time
from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import NamedTuple

from harness.descriptions.board import FrameLayout, SerialPort
from harness.errors import BoardError, MisuseError
from harness.link.faults import BoardFrameFault, BoardSilent, BoardUnplugged
from harness.link.port import BytePort, OpenPort
from harness.protocols.frame_columns import Column
from harness.protocols.frame_decoder import decoder_for
from harness.protocols.frame_events import BadFrame, BadReason, FrameEvent, GoodFrame
from harness.protocols.sequence import SequenceTracker, sequence_modulus
from harness.timebase import Clock

# A frame may come late by the board's own jitter; three periods without one are no jitter.
STALE_PERIODS = 3.0

# About a quarter of an hour of a board that sends 20 frames a second.
KEPT_FRAMES = 20_000

# How long the reader waits for bytes before it looks whether it is to end; only ports that
# cannot be woken need it. Operating-system seconds.
READ_WAIT_SECONDS = 0.25

# A read of so many bytes met frames that had been held back, and more may wait behind them.
HELD_BACK_BYTES = 1024
MOST_BYTES_AT_ONCE = 1 << 20

# A microsecond is far below any board's period.
LEAST_APART_SECONDS = 1.0e-6

# The reader looks at least this often, so it is gone long before this.
JOIN_SECONDS = 10.0


class TimedFrame(NamedTuple):
    """A good frame with its time of arrival (clock seconds, and seconds since 1970).

    Of frames that came together only the last has just arrived; the others are dated back.
    """

    frame: GoodFrame
    monotonic: float
    wall: float


@dataclass(frozen=True)
class LinkStatistics:
    """What came over the link since it was opened.

    good : frames kept; duplicates are not among them. bad : by reason.
    gaps, missing : places where sequence numbers are missing, and how many are.
    resets : the sequence went back; noise_bytes : bytes between frames.
    """

    good: int = 0
    bad_check: int = 0
    malformed: int = 0
    wrong_field_count: int = 0
    not_a_number: int = 0
    too_long: int = 0
    noise_bytes: int = 0
    gaps: int = 0
    missing: int = 0
    duplicates: int = 0
    resets: int = 0

    def __str__(self) -> str:
        """One sentence part: "795 frames; 41 with a wrong check, 12 missing"."""
        troubles = (
            (self.bad_check, "with a wrong check"),
            (self.malformed, "malformed"),
            (self.wrong_field_count, "with a wrong number of fields"),
            (self.not_a_number, "with text for a number"),
            (self.too_long, "too long"),
            (self.missing, "missing"),
            (self.duplicates, "repeated"),
            (self.resets, "restarts of the sequence"),
            (self.noise_bytes, "bytes of noise"),
        )
        said = ", ".join(f"{count} {what}" for count, what in troubles if count)
        return f"{self.good} good frames" + (f"; {said}" if said else ", nothing wrong")

    @property
    def is_clean(self) -> bool:
        """Whether nothing but good frames came."""
        return self == LinkStatistics(good=self.good)


class BoardLink:
    """The link to one board, open from construction to `close`.

    Parameters
    ----------
    serial : port and line settings; layout : what a frame is; refresh_seconds : the declared
        time from frame to frame.
    clock : stamps arrivals. port : an open port instead of one made from `serial`.

    Raises
    ------
    BoardMissing : the port cannot be opened. DescriptionError : the layout cannot be decoded.
    """

    def __init__(
        self,
        serial: SerialPort,
        layout: FrameLayout,
        refresh_seconds: float,
        clock: Clock,
        port: BytePort | None = None,
    ) -> None:
        self.place = f"board ({serial.port})"
        self._clock = clock
        self._refresh_seconds = refresh_seconds
        self._stale_seconds = STALE_PERIODS * refresh_seconds
        self._decoder = decoder_for(layout)
        self._tracker = SequenceTracker(modulus=sequence_modulus(layout))
        self._frames: deque[TimedFrame] = deque(maxlen=KEPT_FRAMES)
        self._counts: Counter[BadReason] = Counter()
        self._good = 0
        self._noise_bytes = 0
        self._since_good = _SinceGood()
        self._fault: BoardError | None = None
        self._is_closing = False
        self._changed = threading.Condition()
        self._port = port if port is not None else OpenPort(serial)
        self._reader = threading.Thread(target=self._read, name=self.place, daemon=True)
        self._reader.start()

    @property
    def columns(self) -> tuple[Column, ...]:
        """(quantity, channel) of each value of a frame."""
        return self._decoder.columns

    # Asking -----------------------------------------------------------------------------

    def frames_after(self, monotonic: float) -> list[TimedFrame]:
        """The kept frames that arrived later than `monotonic` (clock seconds), oldest first."""
        with self._changed:
            return self._later_than(monotonic)

    def wait_for_frames(
        self, count: int, after: float, timeout_seconds: float | None = None
    ) -> list[TimedFrame]:
        """Wait until `count` frames have arrived later than `after`; return all of those.

        Parameters
        ----------
        after : clock seconds, may lie ahead.
        timeout_seconds : clock seconds for the whole wait; None for no limit but the board's
            own liveness.

        Raises
        ------
        BoardSilent : no new frame within `STALE_PERIODS` refresh periods, or not enough in
            time. BoardFrameFault : only bad frames meanwhile. BoardUnplugged : the port died.
        MisuseError : more frames asked for than are kept.
        """
        if count > KEPT_FRAMES:
            raise MisuseError(f"frames: expected at most {KEPT_FRAMES} at a time, got {count}")
        stale = self._clock.real_timeout(self._stale_seconds)
        began = alive = time.monotonic()
        limit = float("inf")
        if timeout_seconds is not None:
            limit = began + self._clock.real_timeout(timeout_seconds)
        with self._changed:
            while True:
                seen = self._good
                self._raise_if_dead()
                found = self._later_than(after)
                if len(found) >= count:
                    return found
                now = time.monotonic()
                if now - alive >= stale:
                    raise self._stale_fault()
                if now >= limit:
                    raise self._too_few(count, len(found), timeout_seconds)
                self._changed.wait(min(alive + stale, limit) - now)
                if self._good != seen:
                    alive = time.monotonic()

    def statistics(self) -> LinkStatistics:
        """What came so far."""
        with self._changed:
            return LinkStatistics(
                good=self._good,
                bad_check=self._counts[BadReason.BAD_CHECK],
                malformed=self._counts[BadReason.MALFORMED],
                wrong_field_count=self._counts[BadReason.WRONG_FIELD_COUNT],
                not_a_number=self._counts[BadReason.NOT_A_NUMBER],
                too_long=self._counts[BadReason.TOO_LONG],
                noise_bytes=self._noise_bytes,
                gaps=self._tracker.gaps,
                missing=self._tracker.missing,
                duplicates=self._tracker.duplicates,
                resets=self._tracker.resets,
            )

    def close(self) -> None:
        """End the reader and give the port back; may be called twice."""
        self._is_closing = True
        if self._reader.is_alive():
            self._port.wake()
            self._reader.join(JOIN_SECONDS)
        self._port.close()

    # Reading thread ---------------------------------------------------------------------

    def _read(self) -> None:
        try:
            while not self._is_closing:
                chunk = self._read_what_waits()
                if chunk:
                    self._take(chunk, self._clock.now(), self._clock.wall())
        except BoardUnplugged as error:
            self._end(error)
        else:
            self._end(BoardUnplugged(f"{self.place}: expected an open link, got a closed one"))

    def _read_what_waits(self) -> bytes:
        """All bytes there are; a system hands over no more than its buffer at a time."""
        chunk = self._port.read(READ_WAIT_SECONDS)
        more = chunk if len(chunk) >= HELD_BACK_BYTES else b""
        while more and len(chunk) < MOST_BYTES_AT_ONCE:
            more = self._port.read(0.0)
            chunk += more
        return chunk

    def _end(self, fault: BoardError) -> None:
        with self._changed:
            self._fault = fault
            self._changed.notify_all()

    def _take(self, chunk: bytes, monotonic: float, wall: float) -> None:
        """Decode outside of the lock, keep inside."""
        events = self._decoder.receive(chunk)
        with self._changed:
            self._since_good.byte_count += len(chunk)
            for event, age in zip(events, self._ages(events), strict=True):
                self._keep(event, monotonic - age, wall - age)
            self._changed.notify_all()

    def _ages(self, events: Sequence[FrameEvent]) -> list[float]:
        """How much older than the newest frame of a chunk each is, seconds.

        Frames that come together have been held back somewhere: by the difference of their
        uptimes where the board sends it, else a refresh period from frame to frame, bad ones
        included.
        """
        places = list(accumulate(1 if _is_frame(event) else 0 for event in events))
        newest = next((e for e in reversed(events) if isinstance(e, GoodFrame)), None)
        ages = []
        for event, place in zip(events, places, strict=True):
            age = (places[-1] - place) * self._refresh_seconds
            if newest and isinstance(event, GoodFrame):
                since = _uptime_between(event, newest)
                age = age if since is None else since
            ages.append(age)
        return ages

    def _keep(self, event: FrameEvent, monotonic: float, wall: float) -> None:
        if isinstance(event, BadFrame):
            self._counts[event.reason] += 1
            self._since_good.note(event)
            if event.reason is BadReason.NOISE:
                self._noise_bytes += len(event.raw)
        elif isinstance(event, GoodFrame):
            before = self._tracker.duplicates
            self._tracker.feed(event.sequence, event.uptime_seconds)
            if self._tracker.duplicates > before:
                self._since_good.duplicates += 1
                return
            self._good += 1
            self._since_good = _SinceGood()
            if self._frames:
                # Later than the one before, or nobody could tell them apart by their times.
                monotonic = max(monotonic, self._frames[-1].monotonic + LEAST_APART_SECONDS)
            self._frames.append(TimedFrame(event, monotonic, wall))

    # Inside, under the lock -------------------------------------------------------------

    def _later_than(self, monotonic: float) -> list[TimedFrame]:
        found = []
        for timed in reversed(self._frames):
            if timed.monotonic <= monotonic:
                break
            found.append(timed)
        found.reverse()
        return found

    def _raise_if_dead(self) -> None:
        if self._fault is not None:
            # A new one for each caller: an exception raised twice mixes up its tracebacks.
            raise type(self._fault)(str(self._fault)) from self._fault

    def _stale_fault(self) -> BoardError:
        since = self._since_good
        expected = f"{self.place}: expected a new frame within {self._stale_seconds:g} s"
        if since.reasons:
            return BoardFrameFault(
                f"{expected}, got {since.bad_frames} bad, the last of the most frequent kind "
                f"({since.worst.value}): {since.details[since.worst]}; compare [frame] of the "
                "board description with what the board sends"
            )
        if since.duplicates:
            return BoardSilent(
                f"{expected}, got the same sequence number {since.duplicates} times more: its "
                "values are stale; look whether the board still measures"
            )
        if since.byte_count:
            return BoardFrameFault(
                f"{expected}, got {since.byte_count} bytes without an end of a frame; check "
                "serial.baud, serial.parity and [frame] of the board description"
            )
        return BoardSilent(
            f"{expected}, got nothing; check that the board is powered, awake and sending, and "
            "refresh_seconds of its description"
        )

    def _too_few(self, count: int, found: int, timeout_seconds: float | None) -> BoardSilent:
        return BoardSilent(
            f"{self.place}: expected {count} frames within {timeout_seconds or 0.0:g} s, "
            f"got {found}; check refresh_seconds of the board description"
        )


def _is_frame(event: FrameEvent) -> bool:
    """Whether the event took a refresh period of the board; noise between frames did not."""
    if isinstance(event, BadFrame):
        return event.reason is not BadReason.NOISE
    return isinstance(event, GoodFrame)


def _uptime_between(frame: GoodFrame, newest: GoodFrame) -> float | None:
    """Seconds by the board's own clock; None without one, or where it was started anew."""
    if frame.uptime_seconds is None or newest.uptime_seconds is None:
        return None
    since = newest.uptime_seconds - frame.uptime_seconds
    return since if since >= 0 else None


class _SinceGood:
    """What has come since the last good frame, for telling why there is none."""

    def __init__(self) -> None:
        self.byte_count = 0
        self.duplicates = 0
        self.reasons: Counter[BadReason] = Counter()
        self.details: dict[BadReason, str] = {}

    def note(self, event: BadFrame) -> None:
        """Count a bad frame and keep its words."""
        self.reasons[event.reason] += 1
        self.details[event.reason] = event.detail

    @property
    def bad_frames(self) -> int:
        """How many there were, of all reasons."""
        return self.reasons.total()

    @property
    def worst(self) -> BadReason:
        """The most frequent reason; mere noise only when there is no other, as it says least."""
        telling = [r for r, _ in self.reasons.most_common() if r is not BadReason.NOISE]
        return telling[0] if telling else BadReason.NOISE
