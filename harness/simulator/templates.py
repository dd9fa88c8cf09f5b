"""From an instrument model's command templates to the table its simulated twin understands.

The twin of a bench answers to the very commands its description declares. Where a template is
one of the standard forms, the twin also takes the long forms and optional nodes that
SCPI-1999 gives it.
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, field

from harness.protocols.scpi_device import ScpiFault

Outcome = str | None | Generator[float, None, str | None]

# What is done for a template, given its holes' texts by name.
Action = Callable[[Mapping[str, str]], Outcome]

# Full headers of the standard forms. "Listed as SCPI standard" in a supply's command table
# and used by many; the text of SCPI-1999 volume 2 was not at hand.
STANDARD_HEADERS = {
    "INST:NSEL": "INSTrument:NSELect",
    "VOLT": "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]",
    "CURR": "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]",
    "VOLT:PROT": "[SOURce]:VOLTage:PROTection[:LEVel]",
    "VOLT:PROT:TRIP": "[SOURce]:VOLTage:PROTection:TRIPped",
    "OUTP": "OUTPut[:STATe]",
    "MEAS:VOLT": "MEASure[:SCALar]:VOLTage[:DC]",
    "MEAS:CURR": "MEASure[:SCALar]:CURRent[:DC]",
    "CONF:VOLT:DC": "CONFigure[:SCALar]:VOLTage[:DC]",
    "CONF:RES": "CONFigure[:SCALar]:RESistance",
    "VOLT:DC:NPLC": "[SENSe]:VOLTage[:DC]:NPLCycles",
    "RES:NPLC": "[SENSe]:RESistance:NPLCycles",
    "SAMP:COUN": "SAMPle:COUNt",
    "READ": "READ",
    "RES": "[SOURce]:RESistance[:LEVel][:IMMediate][:AMPLitude]",
    "ROUT:CLOS": "ROUTe:CLOSe",
    "ROUT:OPEN": "ROUTe:OPEN",
    "ROUT:OPEN:ALL": "ROUTe:OPEN:ALL",
}

# Channel numbers that a hole inside a header is tried with.
MOST_CHANNELS = 32


@dataclass(frozen=True)
class Rule:
    """One template's parameters as a pattern, and what to do when they match."""

    pattern: re.Pattern[str]
    action: Action
    fixed: Mapping[str, str]

    def attempt(self, parameters: str) -> Callable[[], Outcome] | None:
        """The action with its holes filled, or None when `parameters` do not match."""
        found = self.pattern.fullmatch(parameters)
        if found is None:
            return None
        holes = {**self.fixed, **found.groupdict()}
        return lambda: self.action(holes)


@dataclass
class CommandTable:
    """Rules by header, in the order they were added."""

    rules: dict[str, list[Rule]] = field(default_factory=dict)

    def add(self, template: str, action: Action) -> None:
        """Have `action` done for messages of the form `template`; an empty one adds nothing."""
        if not template:
            return
        head, _, parameters = template.strip().partition(" ")
        pattern = re.compile(_pattern(parameters), re.IGNORECASE)
        for header, fixed in _headers(head):
            self.rules.setdefault(header, []).append(Rule(pattern, action, fixed))

    def handlers(self) -> dict[str, Callable[[Sequence[str]], Outcome]]:
        """One handler a header, given the parameters' texts."""
        return {header: _Dispatch(rules) for header, rules in self.rules.items()}


@dataclass(frozen=True)
class _Dispatch:
    """Tries the rules of one header in turn."""

    rules: Sequence[Rule]

    def __call__(self, parameters: Sequence[str]) -> Outcome:
        written = ",".join(part.strip() for part in parameters)
        for rule in self.rules:
            action = rule.attempt(written)
            if action is not None:
                return action()
        if not written:
            raise ScpiFault(-109)
        raise ScpiFault(-224, written)


def _headers(head: str) -> list[tuple[str, dict[str, str]]]:
    """The headers a template's head stands for, with what its holes are in each."""
    holes = [name for _, name, _, _ in string.Formatter().parse(head) if name]
    if not holes:
        return [(_full(head), {})]
    return [
        (head.format(**dict.fromkeys(holes, number)), dict.fromkeys(holes, str(number)))
        for number in range(1, MOST_CHANNELS + 1)
    ]


def _full(head: str) -> str:
    """The full form of a standard header, another header as it is."""
    query = "?" if head.endswith("?") else ""
    plain = head.removesuffix("?").lstrip(":")
    return STANDARD_HEADERS.get(plain.upper(), plain) + query


def _pattern(parameters: str) -> str:
    """A pattern for the parameters of a template, holes as named groups."""
    found = ""
    for literal, name, _, _ in string.Formatter().parse(parameters.replace(" ", "")):
        found += {"ON": "(?:ON|1)", "OFF": "(?:OFF|0)"}.get(literal, re.escape(literal))
        if name:
            found += f"(?P<{name}>[^()@]*)"
    return found
