"""What all instrument drivers share: identity, command forms, error queue, reply forms.

A driver turns a role's requests into the messages of the model description and its replies
into values. After each set it drains the instrument's error queue, in the same round trip when
the dialogue allows compound messages. It must not wait, retry or decide anything else.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from harness.instruments.faults import (
    InstrumentRefused,
    UnexpectedReply,
    WrongInstrument,
    quoted,
)
from harness.instruments.transport import Transport
from harness.protocols.scpi_command import join_commands
from harness.protocols.scpi_reply import (
    Reading,
    ReadingState,
    parse_boolean,
    parse_error,
    parse_reading,
    split_replies,
)

# A common implementation reads at most 256 characters a message (then -363, input overrun).
LONGEST_MESSAGE = 240

# The queue holds 17 entries in a common implementation; more than this is an endless one.
MOST_QUEUED_ERRORS = 40


def is_question(unit: str) -> bool:
    """Whether a program message unit asks something (its header ends in "?")."""
    return unit.split(maxsplit=1)[0].endswith("?")


class Driver:
    """An instrument behind a transport.

    Parameters
    ----------
    transport : the conversation; identity : regular expression searched in `*IDN?`'s answer.
    """

    def __init__(self, transport: Transport, identity: str) -> None:
        self.transport = transport
        self._identity_pattern = identity

    @property
    def place(self) -> str:
        """The instrument's name and resource, as messages begin."""
        return self.transport.place

    @property
    def identity(self) -> str:
        """The answer to `*IDN?`, empty before `open`."""
        return self.transport.identity

    def open(self) -> None:
        """Check who answers, then clear status and error queue.

        Raises
        ------
        WrongInstrument : another instrument than the model description expects.
        InstrumentMissing, InstrumentSilent : nobody answers.
        """
        said = self.transport.query("*IDN?")
        if not re.search(self._identity_pattern, said):
            raise WrongInstrument(
                f'{self.place}: sent "*IDN?": expected an answer that matches '
                f"{quoted(self._identity_pattern)}, got {quoted(said)}; check the resource in "
                "the bench file and identity in the model description"
            )
        self.transport.identity = said
        if self.transport.dialogue.clear:
            self.transport.write(self.transport.dialogue.clear)
        self.take_errors()

    def close(self) -> None:
        """End the conversation; outputs stay as they are."""
        self.transport.close()

    def take_errors(self) -> list[str]:
        """Empty the instrument's error queue and return what was in it, oldest first."""
        query = self.transport.dialogue.error_query
        found: list[str] = []
        while query and len(found) < MOST_QUEUED_ERRORS:
            said = self.transport.query(query)
            if self._error_number(query, said) == 0:
                break
            found.append(said)
        return found

    def exchange(self, units: Iterable[str]) -> list[str]:
        """Send commands and questions in order, then look into the error queue.

        Parameters
        ----------
        units : program message units; those whose header ends in "?" are questions, empty
            ones are left out.

        Returns
        -------
        The answers to the questions, in order.

        Raises
        ------
        InstrumentRefused : the error queue held something.
        UnexpectedReply : fewer or more answers than questions. Others as from the transport.
        """
        sent = [unit for unit in units if unit]
        if self.transport.dialogue.compound:
            return self._exchange_compound(sent)
        answers = []
        for unit in sent:
            if is_question(unit):
                answers.append(self.transport.query(unit))
            else:
                self.transport.write(unit)
        query = self.transport.dialogue.error_query
        if query:
            self._refuse_errors(join_commands(sent), self.transport.query(query))
        return answers

    def _exchange_compound(self, sent: list[str]) -> list[str]:
        query = self.transport.dialogue.error_query
        text = join_commands([*sent, query])
        expected = sum(map(is_question, sent)) + bool(query)
        if not expected:
            self.transport.write(text)
            return []
        said = self.transport.query(text)
        answers = list(split_replies(said))
        if query:
            self._refuse_errors(text, answers[-1])
        if len(answers) != expected:
            raise self.unexpected(text, f"{expected} answers", said)
        return answers[:-1] if query else answers

    def _refuse_errors(self, sent: str, said: str) -> None:
        if self._error_number(sent, said) == 0:
            return
        all_said = "; ".join([said, *self.take_errors()])
        raise InstrumentRefused(
            f"{self.place}: sent {quoted(sent)}: expected no error, got {all_said}; "
            "compare the command and its value with the model description"
        )

    def _error_number(self, sent: str, said: str) -> int:
        try:
            return parse_error(said).number
        except ValueError as error:
            raise self.unexpected(sent, "an error number and text", said) from error

    # Reply forms ------------------------------------------------------------------------

    def unexpected(self, sent: str, expected: str, came: str) -> UnexpectedReply:
        """The error for an answer of the wrong form."""
        return UnexpectedReply(
            f"{self.place}: sent {quoted(sent)}: expected {expected}, got {quoted(came)}; "
            "compare the command with the instrument's manual and the model description"
        )

    def reading(self, sent: str, said: str) -> Reading:
        """One reading, overload and not-a-number kept apart.

        Raises
        ------
        UnexpectedReply : no number at all.
        """
        try:
            return parse_reading(said)
        except ValueError as error:
            raise self.unexpected(sent, "a number", said) from error

    def number(self, sent: str, said: str) -> float:
        """One finite number.

        Raises
        ------
        UnexpectedReply : anything else, overload included.
        """
        reading = self.reading(sent, said)
        if reading.state is not ReadingState.GOOD:
            raise self.unexpected(sent, "a number", said)
        return reading.value

    def boolean(self, sent: str, said: str) -> bool:
        """0 or 1, OFF or ON.

        Raises
        ------
        UnexpectedReply : anything else.
        """
        try:
            return parse_boolean(said)
        except ValueError as error:
            raise self.unexpected(sent, "0 or 1", said) from error
