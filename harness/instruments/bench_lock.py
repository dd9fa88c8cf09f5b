"""One run at a time on each instrument and port: exclusive locks held by the process.

A lock is a file that the operating system locks for us, so it ends with the process however
that dies; a file left lying about locks nothing. It must hold nothing that matters: whoever
fails to lock it reads who does, for the message. A file is removed while it is still locked,
so whoever got hold of a removed one has locked nothing and tries again.
"""

from __future__ import annotations

import datetime
import getpass
import hashlib
import json
import os
import re
import sys
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO

from harness.instruments.faults import BenchBusy
from harness.timebase import Clock

# Windows locks byte ranges and refuses others to read them: lock one far behind the text.
_WINDOWS_LOCKED_BYTE = 1 << 20


def lock_folder() -> Path:
    """The folder of this user's locks."""
    try:
        user = getpass.getuser()
    except (KeyError, OSError):  # a process without a user name, as in some containers
        user = str(os.getuid()) if hasattr(os, "getuid") else "user"
    plain_user = re.sub(r"[^A-Za-z0-9._-]", "_", user)
    return Path(tempfile.gettempdir()) / f"tapproof-locks-{plain_user}"


def lock_name(resource: str) -> str:
    """One name for all spellings of a resource string or port.

    Device paths are followed to the device itself, so that a by-id link and ttyUSB0 are one.
    """
    if resource.startswith("/") or resource.upper().startswith("ASRL/"):
        name = os.path.realpath(re.sub(r"(?i)^ASRL|::INSTR$", "", resource))
    else:
        name = re.sub(r"^([a-z]+)(?=::)", r"\g<1>0", resource.casefold())
        name = re.sub(r"^asrl(\d+)(::instr)?$", r"com\1", name)
    readable = re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-")[:60]
    return f"{readable}-{hashlib.sha256(name.encode()).hexdigest()[:8]}.lock"


@dataclass(frozen=True)
class Holder:
    """Who holds a lock, as far as can be told."""

    pid: int | None = None
    since: str = ""

    def __str__(self) -> str:
        if self.pid is None:
            return "another process"
        return f"process {self.pid} since {self.since}"


class BenchLock:
    """Exclusive hold of all the given resources, or of none.

    Parameters
    ----------
    resources : resource strings and serial ports.
    clock : tells since when.
    folder : where the lock files are; the user's own when None.

    Raises
    ------
    BenchBusy : another run holds one of them.
    """

    def __init__(self, resources: Iterable[str], clock: Clock, folder: Path | None = None) -> None:
        self._files: list[tuple[Path, IO[str]]] = []
        where = folder or lock_folder()
        where.mkdir(mode=0o700, parents=True, exist_ok=True)
        since = datetime.datetime.fromtimestamp(clock.wall(), datetime.UTC)
        note = {"pid": os.getpid(), "since": since.isoformat(timespec="seconds")}
        try:
            # In one order everywhere, and each only once.
            for name, resource in sorted({lock_name(r): r for r in resources}.items()):
                self._files.append((where / name, _lock(where / name, resource, note)))
        except BaseException:
            self.release()
            raise

    def release(self) -> None:
        """Let go of everything; may be called twice."""
        while self._files:
            path, file = self._files.pop()
            if sys.platform != "win32":  # where an open file cannot be removed
                path.unlink(missing_ok=True)
            file.close()

    def __enter__(self) -> BenchLock:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.release()


def _lock(path: Path, resource: str, note: dict[str, object]) -> IO[str]:
    """The open, locked file that stands at `path`."""
    while True:
        file = os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o600), "r+", encoding="utf-8")
        try:
            _lock_or_tell(file, resource)
            if _stands_at(path, file):
                file.truncate()
                json.dump({**note, "resource": resource}, file)
                file.flush()
                return file
        except BaseException:
            file.close()
            raise
        file.close()


def _lock_or_tell(file: IO[str], resource: str) -> None:
    try:
        _lock_file(file)
    except OSError as error:
        raise BenchBusy(
            f"{resource}: expected to have it alone, got it held by {_holder(file)}; "
            "wait until that run has ended, or end it"
        ) from error


def _stands_at(path: Path, file: IO[str]) -> bool:
    """Whether `file` is still the one at `path`, and was not removed before we locked it."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.stat())
    except FileNotFoundError:
        return False


def _holder(file: IO[str]) -> Holder:
    try:
        said = json.load(file)
        return Holder(int(said["pid"]), str(said["since"]))
    except (OSError, ValueError, KeyError, TypeError):
        return Holder()


if sys.platform == "win32":
    import msvcrt

    def _lock_file(file: IO[str]) -> None:
        """Raise OSError when another process holds the lock."""
        os.lseek(file.fileno(), _WINDOWS_LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        finally:
            os.lseek(file.fileno(), 0, os.SEEK_SET)

else:
    import fcntl

    def _lock_file(file: IO[str]) -> None:
        """Raise OSError when another process, or another open file of ours, holds the lock."""
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
