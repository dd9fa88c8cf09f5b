"""One message and its answer, in step: locking, pacing, time-outs, resynchronisation.

An answer that comes after its time-out stays in the connection and would be taken for the
answer to the next question, and so on for ever. So after any failure the link counts as out of
step. Before the next message it is brought back: what has come is dropped, then `*IDN?` is
asked until its known text comes back, then `*OPC?` until `1` does. The pair is needed because
a late answer may itself be an identity; the one after it cannot be `1`. When that fails the
connection is made anew. Nothing is ever sent a second time: whether a command was carried out
before its answer got lost is not known here.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass

from harness.descriptions.instrument import Dialogue
from harness.errors import InstrumentError, MisuseError
from harness.instruments.faults import (
    ConnectionLost,
    InstrumentMissing,
    InstrumentSilent,
    quoted,
)
from harness.instruments.wire import Wire, WireError, WireMissing, WireTimeout
from harness.protocols.scpi_reply import parse_error
from harness.timebase import Clock

# Longest wait for each of the two known answers while resynchronising. `*IDN?` and `*OPC?`
# need milliseconds; a second allows for a measurement that is still running.
RESYNC_SECONDS = 1.0

# Replies may hold any byte; Latin-1 maps every one and cannot fail.
ENCODING = "latin-1"


@dataclass(frozen=True)
class _Asked:
    """A question that is out, with the time its answer is given."""

    text: str
    timeout_seconds: float


class Transport:
    """The conversation with one instrument; safe to be used from several threads.

    Parameters
    ----------
    wire : the connection; name : the instrument's name in the bench file; resource : its
        resource string; dialogue : how to talk; clock : pacing and time-outs.
    """

    def __init__(
        self, wire: Wire, name: str, resource: str, dialogue: Dialogue, clock: Clock
    ) -> None:
        self.place = f"{name} ({resource})"
        self.dialogue = dialogue
        self.clock = clock
        self.identity = ""
        self.resynchronisations = 0
        self._wire = wire
        # Re-entrant: a stopping signal between taking the lock and noting its owner must not
        # lock this thread out of switching off.
        self._lock = threading.RLock()
        self._owner: int | None = None
        self._asked: _Asked | None = None
        self._is_in_step = True
        self._has_answered = False
        self._last_activity = -float("inf")

    # Conversation -----------------------------------------------------------------------

    def query(self, text: str, timeout_seconds: float | None = None) -> str:
        """Send `text` and return its answer, terminations and padding stripped.

        Parameters
        ----------
        timeout_seconds : clock seconds; the dialogue's own when None.

        Raises
        ------
        InstrumentSilent, ConnectionLost, InstrumentMissing : no answer, by its cause.
        """
        try:
            self.start(text, timeout_seconds)
            return self.finish()
        except BaseException:
            self.abandon()
            raise

    def write(self, text: str) -> None:
        """Send `text`, which asks nothing.

        Raises
        ------
        ConnectionLost, InstrumentMissing, InstrumentSilent : as for `query`.
        """
        self._take()
        try:
            self._get_in_step()
            self._send(text)
        except BaseException:
            self._is_in_step = False
            raise
        finally:
            self._give_back()

    def write_regardless(self, text: str) -> None:
        """Send `text` without looking whether anyone answers: for switching off only.

        Raises
        ------
        ConnectionLost, InstrumentMissing : it could not even be sent.
        """
        self._take()
        try:
            self._is_in_step = False
            self._send(text)
        finally:
            self._give_back()

    def start(self, text: str, timeout_seconds: float | None = None) -> None:
        """Send `text` and return at once; `finish` fetches the answer.

        The instrument stays locked in between, so other work may overlap but no other message.
        """
        self._take()
        try:
            self._get_in_step()
            self._send(text)
            limit = self.dialogue.timeout_seconds if timeout_seconds is None else timeout_seconds
            self._asked = _Asked(text, limit)
        except BaseException:
            self._is_in_step = False
            self._give_back()
            raise

    def finish(self) -> str:
        """The answer to what `start` sent.

        Raises
        ------
        MisuseError : nothing was started. Others as for `query`.
        """
        asked = self._asked
        if asked is None or self._owner != threading.get_ident():
            raise MisuseError(f"{self.place}: expected a started query to finish, got none")
        try:
            return self._receive(asked)
        except BaseException:
            self._is_in_step = False
            raise
        finally:
            self._asked = None
            self._give_back()

    def abandon(self) -> None:
        """Give up on a query that this thread has started; does nothing when there is none."""
        if self._asked is not None and self._owner == threading.get_ident():
            self._asked = None
            self._is_in_step = False
            self._give_back()

    def reset(self) -> None:
        """Forget whatever this thread was doing, for the way out; no message is sent.

        A stop may come anywhere, also between two steps of this class that belong together:
        with the lock taken and no owner noted, or with an owner and no question. Afterwards
        the lock is free as far as this thread held it, and the link counts as out of step.
        """
        self._is_in_step = False
        if self._owner == threading.get_ident():
            self._asked = None
            self._owner = None
        while True:
            try:
                self._lock.release()
            except RuntimeError:  # this thread holds it no more
                return

    def close(self) -> None:
        """End the connection; may be called twice."""
        self.abandon()
        self._wire.close()

    # Inside -----------------------------------------------------------------------------

    def _take(self) -> None:
        if self._owner == threading.get_ident():
            raise MisuseError(f"{self.place}: expected finish() before the next message, got none")
        self._lock.acquire()
        self._owner = threading.get_ident()

    def _give_back(self) -> None:
        self._owner = None
        self._lock.release()

    def _pace(self) -> None:
        """Some instruments lose what comes sooner after the last message than this."""
        pacing = self.dialogue.pacing_seconds
        if pacing > 0:
            self.clock.sleep(pacing - (self.clock.now() - self._last_activity))

    def _send(self, text: str) -> None:
        try:
            message = text.encode(ENCODING)
        except UnicodeEncodeError as error:
            raise InstrumentError(
                f"{self.place}: sent nothing: expected only Latin-1 characters, "
                f"got {quoted(text)}; correct the command in the model description"
            ) from error
        self._pace()
        try:
            self._wire.send(message)
        except WireError as error:
            self._is_in_step = False
            raise self._broken(text, error) from error
        finally:
            self._last_activity = self.clock.now()

    def _receive(self, asked: _Asked) -> str:
        self._pace()
        try:
            answer = self._wire.receive(self.clock.real_timeout(asked.timeout_seconds))
        except WireTimeout as error:
            self._is_in_step = False
            raise self._silent(asked, error.partial) from error
        except WireError as error:
            raise self._broken(asked.text, error) from error
        finally:
            self._last_activity = self.clock.now()
        self._has_answered = True
        return _plain(answer)

    def _broken(self, text: str, error: WireError) -> InstrumentError:
        """The error for people behind a wire that is missing or closed."""
        if isinstance(error, WireMissing) or not self._has_answered:
            return InstrumentMissing(
                f"{self.place}: sent {quoted(text)}: expected an instrument there, "
                f"got {error.reason}; check power, cable and the resource in the bench file"
            )
        return ConnectionLost(
            f"{self.place}: sent {quoted(text)}: expected an answer, got the connection closed "
            f"({error.reason}); check power and cable, and that nothing else talks to it"
        )

    def _silent(self, asked: _Asked, partial: bytes) -> InstrumentSilent:
        came = f"only {quoted(_plain(partial))}" if partial else "nothing"
        return InstrumentSilent(
            f"{self.place}: sent {quoted(asked.text)}: expected an answer within "
            f"{asked.timeout_seconds:g} s, got {came}; {self._why_silent()}"
        )

    def _why_silent(self) -> str:
        """What the error queue says to it: an unknown query is never answered, only queued."""
        advice = (
            "check that it is switched on and under remote control, "
            "or raise dialogue.timeout_seconds of its model"
        )
        if not self.identity or not self.dialogue.error_query:
            return advice
        try:
            self._resynchronise()
            self._wire.send(self.dialogue.error_query.encode(ENCODING))
            said = _plain(self._wire.receive(self._resync_timeout()))
            has_error = parse_error(said).is_error
        except (WireError, InstrumentError):  # also a reply that is no error queue entry
            self._is_in_step = False
            return f"it does not answer *IDN? and {self.dialogue.error_query} either; {advice}"
        if not has_error:
            return f"it answers *IDN? and reports no error; {advice}"
        return f"its error queue says {said}; correct the command in the model description"

    # Resynchronisation ------------------------------------------------------------------

    def _get_in_step(self) -> None:
        """Before a message: nothing may be lying in the connection from earlier."""
        try:
            if self._is_in_step and self._wire.has_input():
                self._is_in_step = False
        except WireError as error:
            self._is_in_step = False
            raise ConnectionLost(
                f"{self.place}: sent nothing: expected an open connection, got it closed "
                f"({error.reason}); check power and cable, and that nothing else talks to it"
            ) from error
        if not self._is_in_step:
            self._resynchronise()

    def _resync_timeout(self) -> float:
        return self.clock.real_timeout(min(self.dialogue.timeout_seconds, RESYNC_SECONDS))

    def _resynchronise(self) -> None:
        """Bring questions and answers back in step, on this connection or on a new one."""
        self.resynchronisations += 1
        try:
            if self.identity:
                self._prove_in_step()
            else:
                self._wire.reopen()
        except Exception:  # noqa: BLE001 (a wire that a stop left half open fails in any way)
            self._renew()
        self._is_in_step = True

    def _prove_in_step(self) -> None:
        self._wire.drain()
        self._ask_until("*IDN?", self.identity)
        self._ask_until("*OPC?", "1")

    def _renew(self) -> None:
        """A new connection knows no old answers; the same instrument must be behind it."""
        try:
            self._wire.reopen()
            if self.identity:
                self._ask_until("*IDN?", self.identity)
        except WireTimeout as error:
            raise InstrumentSilent(
                f'{self.place}: sent "*IDN?" on a new connection: expected '
                f"{quoted(self.identity)}, got nothing of the kind; "
                "check that it is switched on and under remote control"
            ) from error
        except WireError as error:
            raise ConnectionLost(
                f"{self.place}: reconnecting: expected an instrument there, got {error.reason}; "
                "check power and cable"
            ) from error

    def _ask_until(self, question: str, expected: str) -> None:
        """Ask once and drop answers until the expected one comes."""
        self._pace()
        self._wire.send(question.encode(ENCODING))
        timeout = self._resync_timeout()
        deadline = time.monotonic() + timeout
        while _plain(self._wire.receive(timeout)) != expected:
            timeout = deadline - time.monotonic()
            if timeout <= 0:
                raise WireTimeout
        self._last_activity = self.clock.now()


def _plain(message: bytes) -> str:
    """Text without terminations, padding NULs and blanks at its ends."""
    return message.decode(ENCODING).strip("\r\n\0 \t")
