"""From an instrument model's command templates to the table its simulated twin understands.

The twin of a bench answers to the very commands its description declares. Where a template is
one of the standard forms, the twin also takes the long forms and optional nodes that
SCPI-1999 gives it.
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from harness.errors import DescriptionError
from harness.protocols.scpi_call import Call
from harness.protocols.scpi_device import Command, Outcome
from harness.protocols.scpi_errors import ScpiFault
from harness.protocols.scpi_headers import short_form

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

# One node of a header: letters, then digits or a hole as its numeric suffix.
_NODE = re.compile(r"([A-Za-z_]+)(\d+|\{\w+\})?")


@dataclass(frozen=True)
class Rule:
    """One template: its parameters as a pattern, its suffixes, and what to do.

    suffixes : for each numeric suffix of the header the number it must have, or the name of
        the hole that it fills.
    """

    pattern: re.Pattern[str]
    suffixes: tuple[int | str, ...]
    action: Action

    def holes(self, suffixes: tuple[int, ...], parameters: str) -> dict[str, str] | None:
        """What fills the holes, or None when the command is not of this form."""
        found = self.pattern.fullmatch(parameters)
        pairs = list(zip(self.suffixes, suffixes, strict=True))
        if found is None or any(isinstance(w, int) and w != came for w, came in pairs):
            return None
        return {w: str(came) for w, came in pairs if isinstance(w, str)} | found.groupdict()


@dataclass
class CommandTable:
    """Rules by header, in the order they were added."""

    rules: dict[str, list[Rule]] = field(default_factory=dict)

    def add(self, template: str, action: Action) -> None:
        """Have `action` done for messages of the form `template`; an empty one adds nothing.

        Raises
        ------
        DescriptionError : the template's header is no SCPI header.
        """
        if not template:
            return
        head, _, parameters = template.strip().partition(" ")
        header, suffixes = _header(head, template)
        pattern = re.compile(_pattern(parameters), re.IGNORECASE)
        self.rules.setdefault(header, []).append(Rule(pattern, suffixes, action))

    def commands(self) -> list[Command]:
        """The table as the SCPI device takes it."""
        return [
            Command(header, _Dispatch(tuple(rules)), (0, MOST_PARAMETERS))
            for header, rules in self.rules.items()
        ]


# No template of an instrument model has more.
MOST_PARAMETERS = 3


@dataclass(frozen=True)
class _Dispatch:
    """Tries the rules of one header in turn."""

    rules: tuple[Rule, ...]

    def __call__(self, call: Call) -> Outcome:
        written = ",".join(part.replace(" ", "") for part in call.parameters)
        for rule in self.rules:
            holes = rule.holes(call.suffixes, written)
            if holes is not None:
                return rule.action(holes)
        if not written:
            raise ScpiFault(-109, call.header)
        raise ScpiFault(-224, written)


def _header(head: str, template: str) -> tuple[str, tuple[int | str, ...]]:
    """A template's head in the notation of the SCPI device, and what its suffixes mean."""
    query = "?" if head.endswith("?") else ""
    plain = head.removesuffix("?").lstrip(":")
    if plain.upper() in STANDARD_HEADERS:
        return STANDARD_HEADERS[plain.upper()] + query, ()
    nodes, suffixes = [], []
    for node in plain.split(":"):
        found = _NODE.fullmatch(node)
        if found is None:
            raise DescriptionError(
                f'command template "{template}": expected a SCPI header, which is all that the '
                f'simulated instrument understands, got "{head}"'
            )
        word, suffix = found.groups()
        short = short_form(word)
        nodes.append(short + word[len(short) :].lower() + ("#" if suffix else ""))
        if suffix:
            suffixes.append(int(suffix) if suffix.isdigit() else suffix.strip("{}"))
    return ":".join(nodes) + query, tuple(suffixes)


def _pattern(parameters: str) -> str:
    """A pattern for the parameters of a template, holes as named groups."""
    found = ""
    for literal, name, _, _ in string.Formatter().parse(parameters.replace(" ", "")):
        found += {"ON": "(?:ON|1)", "OFF": "(?:OFF|0)"}.get(literal, re.escape(literal))
        if name:
            found += f"(?P<{name}>[^()@]+)"
    return found
