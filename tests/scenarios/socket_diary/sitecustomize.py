"""Writes down every address that a Python process connects, binds or looks up.

A folder with this module first on PYTHONPATH makes every Python process of a test keep the
diary, the simulated bench's process included. Audit events come from the interpreter itself,
so no socket of any library escapes them.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

WATCHED = {
    "socket.connect",
    "socket.bind",
    "socket.sendto",
    "socket.sendmsg",
    "socket.getaddrinfo",
    "socket.gethostbyname",
}
DIARY = os.environ.get("SOCKET_DIARY")


def _note(event: str, arguments: tuple[Any, ...]) -> None:
    if event not in WATCHED or not DIARY:
        return
    target = arguments[:2] if event.startswith("socket.get") else arguments[1]
    line = json.dumps([event, os.getpid(), target], default=repr) + "\n"
    with open(DIARY, "a", encoding="utf-8") as diary:
        diary.write(line)


sys.addaudithook(_note)
