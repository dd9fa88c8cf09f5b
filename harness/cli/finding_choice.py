"""Which findings a person means by a channel and a point in words; pure."""

from __future__ import annotations

import re
from collections.abc import Iterable

from harness.errors import DescriptionError
from harness.finding import Finding, Judgement
from harness.report.quantities import point_text
from harness.report.ranking import Placed

# How many choices an error message lists before it stops.
MOST_LISTED = 20


def chosen_findings(
    judgement: Judgement, channel: str, point: str, check: str | None = None
) -> list[Placed]:
    """Findings of `channel` at `point`, in the plan's order.

    Parameters
    ----------
    channel : "5", "cell 5", "cell5", "thermistor 2" or "stack".
    point : as the findings write it (spaces and case do not matter), or the step from 1.
    check : the check's kind, or None for any.

    Raises
    ------
    DescriptionError : nothing fits; the message lists what there is.
    """
    everything = [
        Placed(result.findings, i)
        for result in judgement.checks
        if result.findings is not None and check in (None, result.check)
        for i in range(len(result.findings))
    ]
    if not everything:
        kinds = ", ".join(result.check for result in judgement.checks)
        raise DescriptionError(
            f'check: expected one with findings out of {kinds}, got "{check or "none"}"'
        )
    on_channel = [placed for placed in everything if _is_channel(placed.row, channel)]
    if not on_channel:
        raise _nothing("channel", channel, (channel_words(p.row) for p in everything))
    found = [placed for placed in on_channel if _is_point(placed.row, point)]
    if not found:
        raise _nothing("point", point, (point_text(placed.row.point) for placed in on_channel))
    return found


def channel_words(finding: Finding) -> str:
    """What a person calls the channel of `finding`: "cell 5", "thermistor 2", "stack"."""
    return f"{finding.subject} {finding.channel}" if finding.channel else finding.subject


def _is_channel(finding: Finding, wanted: str) -> bool:
    plain = _plain(wanted)
    if plain.isdecimal():
        return finding.subject == "cell" and finding.channel == int(plain)
    return plain == _plain(channel_words(finding))


def _is_point(finding: Finding, wanted: str) -> bool:
    plain = _plain(wanted)
    if plain.isdecimal():
        return finding.step + 1 == int(plain)
    return plain == _plain(finding.point)


def _plain(text: str) -> str:
    """Without spaces and case; the degree sign as the findings write it."""
    return re.sub(r"\s+", "", text).casefold().replace("°c", "degc")


def _nothing(what: str, wanted: str, known: Iterable[str]) -> DescriptionError:
    choices = list(dict.fromkeys(known))
    listed = ", ".join(choices[:MOST_LISTED])
    more = f" and {len(choices) - MOST_LISTED} more" if len(choices) > MOST_LISTED else ""
    return DescriptionError(f'{what}: expected one of {listed}{more}, got "{wanted}"')
