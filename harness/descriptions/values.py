"""Field types shared by all descriptions: strict numbers with units in their names.

A description is what the user writes in TOML. Each kind is declared once, as a frozen
dataclass that pydantic validates at the edge; the inside of the harness never checks again.
Strictness matters here: TOML has types, so `true` is no number and `"3.3"` is no voltage.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any, TypeVar, cast, dataclass_transform

from pydantic import ConfigDict, Field, Strict
from pydantic.dataclasses import dataclass as pydantic_dataclass

STRICT_FIELDS = ConfigDict(extra="forbid")

Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Positive = Annotated[float, Strict(), Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Strict(), Field(ge=0, allow_inf_nan=False)]
Whole = Annotated[int, Strict()]
Count = Annotated[int, Strict(), Field(ge=1)]
Flag = Annotated[bool, Strict()]
Text = Annotated[str, Strict(), Field(min_length=1)]
AnyText = Annotated[str, Strict()]
Date = Annotated[datetime.date, Strict()]
RelayList = Annotated[tuple[Text, ...], Field(min_length=1)]


Described = TypeVar("Described")


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(Field,))
def described(cls: type[Described]) -> type[Described]:
    """Make `cls` a frozen, keyword-only, validated dataclass that refuses unknown keys."""
    decorate: Any = pydantic_dataclass(frozen=True, kw_only=True, config=STRICT_FIELDS)
    return cast("type[Described]", decorate(cls))
