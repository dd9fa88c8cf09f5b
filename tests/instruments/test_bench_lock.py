"""A second run on the same bench is told who holds it."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from scripted_wire import HandClock

from harness.instruments import bench_lock
from harness.instruments.bench_lock import BenchLock, Holder, lock_folder, lock_name
from harness.instruments.faults import BenchBusy

METER = "TCPIP::192.0.2.1::5025::SOCKET"
SUPPLY = "TCPIP::192.0.2.2::5025::SOCKET"


def test_second_run_is_told_which_resource_and_who(tmp_path):
    """Resource, process, since when."""
    clock = HandClock(seconds=0.0)
    with BenchLock([METER], clock, tmp_path), pytest.raises(BenchBusy) as caught:
        BenchLock([SUPPLY, METER], clock, tmp_path)
    assert str(caught.value) == (
        f"{METER}: expected to have it alone, got it held by process {os.getpid()} since "
        "2023-11-14T22:13:20+00:00; wait until that run has ended, or end it"
    )


def test_all_or_none_is_held(tmp_path):
    """What was taken before the refusal is given back."""
    with BenchLock([METER], HandClock(), tmp_path):
        with pytest.raises(BenchBusy):
            BenchLock([SUPPLY, METER], HandClock(), tmp_path)
        BenchLock([SUPPLY], HandClock(), tmp_path).release()


def test_released_lock_can_be_taken_again(tmp_path):
    """Twice released is as good as once."""
    lock = BenchLock([METER], HandClock(), tmp_path)
    lock.release()
    lock.release()
    BenchLock([METER], HandClock(), tmp_path).release()


def test_one_resource_twice_is_one_lock(tmp_path):
    """Two names of one instrument do not lock each other out."""
    BenchLock([METER, METER.lower()], HandClock(), tmp_path).release()


def test_nothing_is_left_behind(tmp_path):
    """A demo on ever new ports must not litter the temporary folder."""
    BenchLock([METER, SUPPLY], HandClock(), tmp_path).release()
    assert [] == list(tmp_path.iterdir())


def test_a_file_removed_before_it_was_locked_is_no_lock(tmp_path, monkeypatch):
    """The one who removed it held it; a new one is made."""
    path = tmp_path / lock_name(METER)
    lock_file = bench_lock._lock_file
    seen: list[int] = []

    def removed_meanwhile(file):
        lock_file(file)
        seen.append(1)
        if len(seen) == 1:
            path.unlink()

    monkeypatch.setattr(bench_lock, "_lock_file", removed_meanwhile)
    with BenchLock([METER], HandClock(), tmp_path):
        assert (2, True) == (len(seen), path.exists())


def test_death_releases(tmp_path):
    """The file stays, the lock does not."""
    script = (
        "import os, sys, pathlib\n"
        "from harness.instruments.bench_lock import BenchLock\n"
        "from harness.timebase import RealClock\n"
        f"lock = BenchLock([{METER!r}], RealClock(), pathlib.Path(sys.argv[1]))\n"
        "os._exit(9)\n"
    )
    ended = subprocess.run([sys.executable, "-c", script, str(tmp_path)], check=False)
    assert 9 == ended.returncode
    assert [lock_name(METER)] == [path.name for path in tmp_path.iterdir()]
    BenchLock([METER], HandClock(), tmp_path).release()


def test_holder_that_wrote_nothing_is_still_a_holder(tmp_path):
    """A lock file whose text is damaged."""
    with BenchLock([METER], HandClock(), tmp_path):
        (tmp_path / lock_name(METER)).write_text("{", "utf-8")
        with pytest.raises(BenchBusy, match="held by another process; wait"):
            BenchLock([METER], HandClock(), tmp_path)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("TCPIP::h::5025::SOCKET", "tcpip0::H::5025::socket"),
        ("COM3", "ASRL3::INSTR"),
        ("/dev/null", "ASRL/dev/null::INSTR"),
        ("GPIB::4::INSTR", "GPIB0::4::INSTR"),
    ],
)
def test_spellings_of_one_resource_share_a_name(one, other):
    """Case, board number, port forms."""
    assert lock_name(one) == lock_name(other)


def test_a_link_and_its_device_share_a_name(tmp_path):
    """By-id links are followed."""
    (tmp_path / "by-id").symlink_to("/dev/null")
    assert lock_name("/dev/null") == lock_name(str(tmp_path / "by-id"))


def test_different_resources_have_different_names():
    """Also where only a sign differs."""
    assert lock_name("TCPIP::a-b::1::SOCKET") != lock_name("TCPIP::a.b::1::SOCKET")


def test_folder_is_the_users_own():
    """Several users share a temporary folder."""
    assert lock_folder().name.startswith("tapproof-locks-")


def test_unknown_holder_has_words():
    """For the message."""
    assert "another process" == str(Holder())
