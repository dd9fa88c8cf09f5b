"""Plan description: which checks at which points, how settled, how decided."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from harness.descriptions.values import Count, Flag, Number, Positive, Text, described


@described
class Decision:
    """`guard-band`: four-way statement with guard band w = U; `simple`: simple acceptance."""

    rule: Literal["guard-band", "simple"] = "guard-band"
    coverage_probability: Annotated[Number, Field(gt=0.5, lt=1)] = 0.95


@described
class Settling:
    """A point is settled when drift over the window and its slope stay inside the budget."""

    budget_volts: Positive = 0.0002
    budget_celsius: Positive = 0.05
    timeout_seconds: Positive = 10.0


@described
class Effort:
    """How much to average. With `target_uncertainty_volts` frames and cycles are chosen by it.

    `frames` and `readings` are then the fewest to take; `most_frames` bounds the choice.
    """

    frames: Annotated[Count, Field(ge=2)] = 5
    most_frames: Count = 200
    readings: Count = 1
    power_line_cycles: Positive = 1.0
    target_uncertainty_volts: Positive | None = None


@described
class LimitOverride:
    """Limits that replace the board's own for this plan."""

    cell_error_volts: Positive | None = None
    stack_error_volts: Positive | None = None
    noise_volts: Positive | None = None
    thermistor_error_celsius: Positive | None = None


@described
class MappingSettings:
    """Unique value per cell, then each cell moved in turn: only that channel may follow."""

    kind: Literal["mapping"]
    optional: Flag = False
    base_volts: Positive = 3.2
    spacing_volts: Positive = 0.04
    move_volts: Positive = 0.15
    cells: tuple[Count, ...] | None = None


@described
class CellAccuracySettings:
    """Error of each cell at points over the range, upwards then downwards."""

    kind: Literal["cell-accuracy"]
    optional: Flag = False
    points_volts: Annotated[tuple[Positive, ...], Field(min_length=5)]
    directions: Annotated[tuple[Literal["up", "down"], ...], Field(min_length=1, max_length=2)] = (
        "up",
        "down",
    )
    cells: tuple[Count, ...] | None = None


@described
class StackTotalSettings:
    """The board's stack voltage against the sum of its cells and against the reference."""

    kind: Literal["stack-total"]
    optional: Flag = False
    points_volts: Annotated[tuple[Positive, ...], Field(min_length=1)]


@described
class NoiseSettings:
    """Many steady frames at one voltage: standard deviation, codes, effective samples."""

    kind: Literal["noise"]
    optional: Flag = False
    cell_volts: Positive = 3.3
    frames: Annotated[Count, Field(ge=64)] = 64


@described
class ThermistorAccuracySettings:
    """Temperature error at injected resistances, given as nominal temperatures."""

    kind: Literal["thermistor-accuracy"]
    optional: Flag = False
    points_celsius: Annotated[tuple[Number, ...], Field(min_length=5)]
    thermistors: tuple[Count, ...] | None = None
    cell_volts: Positive = 3.3


@described
class ThermistorFaultsSettings:
    """Open and short circuit must be told within `reaction_seconds`, and look implausible."""

    kind: Literal["thermistor-open-short"]
    optional: Flag = False
    reaction_seconds: Positive = 2.0
    thermistors: tuple[Count, ...] | None = None
    cell_volts: Positive = 3.3


CheckSettings = Annotated[
    MappingSettings
    | CellAccuracySettings
    | StackTotalSettings
    | NoiseSettings
    | ThermistorAccuracySettings
    | ThermistorFaultsSettings,
    Field(discriminator="kind"),
]


@described
class PlanDescription:
    """A whole plan; checks run in the order written."""

    name: Text
    decision: Decision = Field(default_factory=Decision)
    settling: Settling = Field(default_factory=Settling)
    effort: Effort = Field(default_factory=Effort)
    limits: LimitOverride = Field(default_factory=LimitOverride)
    check: Annotated[tuple[CheckSettings, ...], Field(min_length=1)]
