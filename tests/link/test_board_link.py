"""The link to a board over a scripted port: every way to fall silent is told by its name."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator

import pytest

from harness.descriptions.board import FrameField, SerialPort, TextFrame
from harness.errors import MisuseError
from harness.link.board_link import KEPT_FRAMES, BoardLink, LinkStatistics
from harness.link.faults import BoardFrameFault, BoardSilent, BoardUnplugged
from harness.observation import Quantity
from harness.timebase import RealClock

SERIAL = SerialPort(port="scripted")
LAYOUT = TextFrame(
    form="csv",
    fields=(
        FrameField(quantity="sequence"),
        FrameField(quantity="cell_voltage", channels=(1, 2), scale=0.001),
    ),
    start=">",
)
PERIOD = 0.05


class ScriptedPort:
    """Hands over what `feed` is given; an exception in the script is raised."""

    def __init__(self) -> None:
        self._chunks: queue.Queue[bytes | Exception] = queue.Queue()
        self.was_closed = 0

    def feed(self, chunk: bytes | Exception) -> None:
        self._chunks.put(chunk)

    def read(self, timeout_seconds: float) -> bytes:
        try:
            chunk = self._chunks.get(timeout=timeout_seconds)
        except queue.Empty:
            return b""
        if isinstance(chunk, Exception):
            raise chunk
        return chunk

    def wake(self) -> None:
        self._chunks.put(b"")

    def close(self) -> None:
        self.was_closed += 1


class StampClock(RealClock):
    """Real time-outs; stamps counted up by one a call, so that a test can name them."""

    stamps = 0

    def now(self) -> float:
        StampClock.stamps += 1
        return float(StampClock.stamps)

    def wall(self) -> float:
        return 1000.0


Linked = Callable[..., tuple[BoardLink, ScriptedPort]]


@pytest.fixture
def linked() -> Iterator[Linked]:
    made: list[BoardLink] = []
    StampClock.stamps = 0

    def link(period: float = PERIOD, layout: TextFrame = LAYOUT) -> tuple[BoardLink, ScriptedPort]:
        port = ScriptedPort()
        made.append(BoardLink(SERIAL, layout, period, StampClock(), port))
        return made[-1], port

    before = threading.active_count()
    yield link
    for one in made:
        one.close()
    assert before == threading.active_count()


def test_frames_come_with_their_time_of_arrival(linked):
    """The partial first line is dropped; a frame in two chunks came with the second."""
    link, port = linked(5.0)
    port.feed(b"00,1\r\n>1,3300,3301\r\n>2,33")
    first = link.wait_for_frames(1, after=0.0)
    port.feed(b"02,3303\r\n")
    (second,) = link.wait_for_frames(1, after=first[0].monotonic)
    assert [(3.3, 3.301), (3.302, 3.303)] == [
        pytest.approx(t.frame.values) for t in (first[0], second)
    ]
    assert [(1.0, 1000.0), (2.0, 1000.0)] == [(t.monotonic, t.wall) for t in (first[0], second)]


def test_columns_are_the_decoders(linked):
    """What the values of a frame are."""
    link, _ = linked()
    assert ((Quantity.CELL_VOLTAGE, 1), (Quantity.CELL_VOLTAGE, 2)) == link.columns


def test_frames_after_takes_only_later_ones(linked):
    """A frame that arrived at the very moment is not later."""
    link, port = linked(5.0)
    port.feed(b"\n>1,1,1\n")
    port.feed(b">2,2,2\n")
    port.feed(b">3,3,3\n")
    link.wait_for_frames(3, after=0.0)
    assert [2, 3] == [t.frame.sequence for t in link.frames_after(1.0)]


def test_waiting_for_the_future_needs_only_liveness(linked):
    """Frames that arrive before `after` keep the wait alive and are not returned."""
    link, port = linked(0.5)
    port.feed(b"\n>1,1,1\n")
    port.feed(b">2,2,2\n")
    port.feed(b">3,3,3\n")
    assert [3] == [t.frame.sequence for t in link.wait_for_frames(1, after=2.0)]


def test_silence_is_told(linked):
    """Nothing at all."""
    link, _ = linked()
    with pytest.raises(BoardSilent) as caught:
        link.wait_for_frames(1, after=0.0)
    assert str(caught.value) == (
        "board (scripted): expected a new frame within 0.15 s, got nothing; check that the board "
        "is powered, awake and sending, and refresh_seconds of its description"
    )


def test_bad_frames_are_told_by_their_most_frequent_reason(linked):
    """Eleven channels instead of twelve, here one instead of two."""
    link, port = linked()
    port.feed(b"\n>1,3300\n>x,1,2\n>2,3300\n")
    with pytest.raises(BoardFrameFault) as caught:
        link.wait_for_frames(1, after=0.0)
    assert str(caught.value).startswith(
        "board (scripted): expected a new frame within 0.15 s, got 3 bad, the last of the most "
        "frequent kind (wrong field count): expected "
    )
    assert str(caught.value).endswith(
        "; compare [frame] of the board description with what the board sends"
    )


def test_bytes_without_a_frame_are_told(linked):
    """As at a wrong baud rate."""
    link, port = linked()
    port.feed(b"\xf0\xf0\xf0")
    with pytest.raises(BoardFrameFault) as caught:
        link.wait_for_frames(1, after=0.0)
    assert str(caught.value) == (
        "board (scripted): expected a new frame within 0.15 s, got 3 bytes without an end of a "
        "frame; check serial.baud, serial.parity and [frame] of the board description"
    )


def test_a_sequence_that_stands_still_is_stale(linked):
    """A board that repeats its last frame is not measuring."""
    link, port = linked()
    port.feed(b"\n" + 3 * b">7,3300,3300\n")
    link.wait_for_frames(1, after=0.0)
    with pytest.raises(BoardSilent) as caught:
        link.wait_for_frames(2, after=0.0)
    assert str(caught.value) == (
        "board (scripted): expected a new frame within 0.15 s, got the same sequence number 2 "
        "times more: its values are stale; look whether the board still measures"
    )


def test_too_few_frames_in_time_is_told(linked):
    """The caller's own limit."""
    link, port = linked(60.0)
    port.feed(b"\n>1,1,1\n")
    with pytest.raises(BoardSilent) as caught:
        link.wait_for_frames(2, after=0.0, timeout_seconds=0.05)
    assert str(caught.value) == (
        "board (scripted): expected 2 frames within 0.05 s, got 1; "
        "check refresh_seconds of the board description"
    )


def test_unplugging_is_told_to_a_waiter_at_once(linked):
    """Without waiting for the stale time of a minute."""
    link, port = linked(60.0)
    port.feed(BoardUnplugged("board (scripted): expected an open port, got EIO"))
    with pytest.raises(BoardUnplugged, match=r"got EIO$"):
        link.wait_for_frames(1, after=0.0)


def test_closed_link_is_told(linked):
    """Waiting on a closed link ends at once."""
    link, _ = linked(60.0)
    link.close()
    with pytest.raises(BoardUnplugged, match=r"expected an open link, got a closed one$"):
        link.wait_for_frames(1, after=0.0)


def test_more_frames_than_are_kept_is_our_fault(linked):
    """It would wait for ever."""
    link, _ = linked()
    with pytest.raises(MisuseError, match=f"expected at most {KEPT_FRAMES} at a time"):
        link.wait_for_frames(KEPT_FRAMES + 1, after=0.0)


def test_statistics_count_everything(linked):
    """Good, bad, lost, repeated and restarted."""
    link, port = linked(5.0)
    port.feed(b"\n>1,1,1\n>1,1,1\n>4,1,1\n>5,x,1\n>6\n>2,1,1\n")
    link.wait_for_frames(3, after=-100.0)
    seen = link.statistics()
    assert (3, 1, 1, 2, 1, 1) == (
        seen.good,
        seen.duplicates,
        seen.gaps,
        seen.missing,
        seen.resets,
        seen.wrong_field_count,
    )
    assert 1 == seen.malformed + seen.not_a_number


def test_close_twice_is_as_good_as_once(linked):
    """The port is given back and the thread has gone."""
    link, port = linked()
    link.close()
    link.close()
    assert 2 == port.was_closed


def test_link_statistics_say_what_was_wrong() -> None:
    damaged = LinkStatistics(good=795, bad_check=41, missing=12)
    assert "795 good frames; 41 with a wrong check, 12 missing" == str(damaged)
    assert not damaged.is_clean


def test_a_clean_link_says_so() -> None:
    clean = LinkStatistics(good=795)
    assert ("795 good frames, nothing wrong", True) == (str(clean), clean.is_clean)


UPTIME_LAYOUT = TextFrame(
    form="csv",
    fields=(
        FrameField(quantity="uptime", scale=0.001),
        FrameField(quantity="cell_voltage", channels=(1, 2), scale=0.001),
    ),
    start=">",
)


def held_back(linked, frames: int) -> list[float]:
    """Stamps of frames that come in one chunk at 1 s of the clock, one period of 50 ms each."""
    link, port = linked(PERIOD)
    port.feed(b"\n" + b"".join(b">%d,1,1\n" % number for number in range(frames)))
    return [t.monotonic for t in link.wait_for_frames(frames, after=-100.0)]


def test_frames_held_back_together_are_not_all_new(linked):
    """Twenty frames at once: the first of them is 19 periods old."""
    found = held_back(linked, 20)
    assert [pytest.approx(1.0 - (19 - i) * PERIOD) for i in range(20)] == found


def test_a_frame_held_back_since_before_a_stimulus_is_not_later_than_it(linked):
    """Of ten frames at 1 s, five were sampled after 0.77 s."""
    link, port = linked(PERIOD)
    port.feed(b"\n" + b"".join(b">%d,1,1\n" % number for number in range(10)))
    link.wait_for_frames(10, after=-100.0)
    assert [5, 6, 7, 8, 9] == [t.frame.sequence for t in link.frames_after(0.77)]


def test_wall_clock_stamps_are_dated_back_alike(linked):
    link, port = linked(PERIOD)
    port.feed(b"\n>1,1,1\n>2,1,1\n")
    found = link.wait_for_frames(2, after=-100.0)
    assert [pytest.approx(1000.0 - PERIOD), 1000.0] == [t.wall for t in found]


def test_a_bad_frame_between_has_taken_its_period_too(linked):
    link, port = linked(PERIOD)
    port.feed(b"\n>1,1,1\n>2,1\n>3,1,1\n")
    found = link.wait_for_frames(2, after=-100.0)
    assert [pytest.approx(1.0 - 2 * PERIOD), 1.0] == [t.monotonic for t in found]


def test_uptime_tells_the_age_of_frames_held_back(linked):
    """The board was 120 ms from one to the other, whatever is declared."""
    link, port = linked(PERIOD, UPTIME_LAYOUT)
    port.feed(b"\n>1000,1,1\n>1120,1,1\n")
    found = link.wait_for_frames(2, after=-100.0)
    assert [pytest.approx(1.0 - 0.12), 1.0] == [t.monotonic for t in found]


def test_frames_stay_in_order_however_they_are_dated(linked):
    """The second chunk's first frame would be older than the frame before it."""
    link, port = linked(5.0)
    port.feed(b"\n>1,1,1\n")
    link.wait_for_frames(1, after=0.0)
    port.feed(b">2,1,1\n>3,1,1\n")
    found = [t.monotonic for t in link.wait_for_frames(3, after=0.0)]
    assert [1.0, pytest.approx(1.0, abs=1e-5), 2.0] == found
    assert sorted(set(found)) == found


def test_what_waits_behind_a_full_buffer_is_read_with_it(linked):
    """A system hands over a few kilobytes at a time; the rest is no newer for that."""
    link, port = linked(PERIOD)
    frames = [b">%03d,%04d,%04d\n" % (number, 1, 1) for number in range(200)]
    port.feed(b"\n" + b"".join(frames[:150]))
    port.feed(b"".join(frames[150:]))
    found = link.wait_for_frames(200, after=-100.0)
    assert pytest.approx(found[-1].monotonic - 199 * PERIOD) == found[0].monotonic
