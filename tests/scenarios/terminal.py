"""Runs a command on a terminal of its own and takes down everything it writes there."""

from __future__ import annotations

import os
import pty
import re
import select
import struct
import subprocess
import termios
from collections.abc import Sequence
from fcntl import ioctl

from command_line import environment

LONGEST_SILENCE_SECONDS = 60.0
COLOUR = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-7]|4[0-7]|9[0-7]|38|48)(?:;\d+)*m")
_ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\x1b[=>]")


def on_terminal(
    words: Sequence[str], columns: int = 80, rows: int = 24, **changes: str
) -> tuple[int, str]:
    """Exit code, and all that was written, escape codes included."""
    master, slave = pty.openpty()
    ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    run = subprocess.Popen(
        list(words), stdin=slave, stdout=slave, stderr=slave, env=environment(**changes)
    )
    os.close(slave)
    written = b"".join(_pieces(master))
    os.close(master)
    return run.wait(LONGEST_SILENCE_SECONDS), written.decode("utf-8")


def _pieces(master: int) -> list[bytes]:
    """What comes until the last process has closed the terminal."""
    found = []
    while select.select([master], [], [], LONGEST_SILENCE_SECONDS)[0]:
        try:
            piece = os.read(master, 65536)
        except OSError:  # Linux's way to say that nobody holds the other end any more
            break
        if not piece:
            break
        found.append(piece)
    return found


def plain(written: str) -> list[str]:
    """The lines without escape codes."""
    return [line.rstrip() for line in re.split(r"[\r\n]+", _ESCAPE.sub("", written))]
