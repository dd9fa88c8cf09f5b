"""Order of messages and waits in a server, with a device that only waits and echoes."""

from __future__ import annotations

import asyncio
from collections.abc import Generator

import pytest

from harness.simulator.core import precise_event_loop
from harness.simulator.faults import InstrumentFault
from harness.simulator.scpi_server import LOOPBACK, ScpiServer
from harness.timebase import ScaledClock


class Echo:
    """Waits as long as the message says, then answers it; nothing to "quiet"."""

    def execute(self, message: str) -> Generator[float, None, str | None]:
        seconds, _, text = message.partition(" ")
        yield float(seconds)
        return None if text == "quiet" else text


def conversed(messages: list[list[str]], fault: InstrumentFault | None = None) -> list[str]:
    """What each of several clients hears, joined; all send at once."""

    async def client(port: int, lines: list[str]) -> str:
        reader, writer = await asyncio.open_connection(LOOPBACK, port)
        writer.write("".join(line + "\n" for line in lines).encode())
        heard = []
        for line in lines:
            if not line.endswith("quiet"):
                heard.append((await reader.readline()).decode().strip())
        writer.close()
        return "|".join(heard)

    async def talk() -> list[str]:
        server = ScpiServer(Echo(), ScaledClock(100.0), fault or InstrumentFault())
        await server.start()
        try:
            return await asyncio.gather(*(client(server.port, lines) for lines in messages))
        finally:
            server.close()
            await asyncio.sleep(0)

    loop = precise_event_loop()
    try:
        return loop.run_until_complete(talk())
    finally:
        loop.close()


def test_answers_come_in_the_order_of_the_questions() -> None:
    """A slow question holds up the quick one behind it."""
    assert ["slow|quick"] == conversed([["0.5 slow", "0 quick"]])


def test_a_message_without_answer_holds_up_nothing() -> None:
    """After a command the next question is answered."""
    assert ["after"] == conversed([["0.1 quiet", "0 after"]])


def test_each_client_hears_its_own_answers() -> None:
    """Two clients at once, answers never crossed."""
    assert ["a|b", "c|d"] == conversed([["0.2 a", "0 b"], ["0.1 c", "0.2 d"]])


@pytest.mark.parametrize(
    "fault", [InstrumentFault(drop_after_messages=1), InstrumentFault(late_seconds=0.01)]
)
def test_first_answer_comes_with_any_fault_later(fault: InstrumentFault) -> None:
    """A drop after one message leaves the first answer; lateness loses none."""
    assert ["one"] == conversed([["0 one"]], fault)
