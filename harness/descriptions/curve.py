"""Thermistor curve descriptions: three written forms, one file each."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from harness.descriptions.values import Number, Positive, Text, described


@described
class SteinhartHartForm:
    """1/T = a + b ln R + c (ln R)^3, T in kelvin, R in ohms."""

    form: Literal["steinhart-hart"]
    a: Number
    b: Positive
    c: Number


@described
class BetaForm:
    """R = reference_ohms * exp(beta (1/T - 1/T_ref)), T in kelvin."""

    form: Literal["beta"]
    reference_ohms: Positive
    beta_kelvin: Positive
    reference_celsius: Number = 25.0


@described
class TableForm:
    """Resistance against temperature, interpolated in ln R against 1/T."""

    form: Literal["table"]
    celsius: Annotated[tuple[Number, ...], Field(min_length=2)]
    ohms: Annotated[tuple[Positive, ...], Field(min_length=2)]


CurveForm = Annotated[SteinhartHartForm | BetaForm | TableForm, Field(discriminator="form")]


@described
class CurveDescription:
    """A thermistor's declared curve and the temperatures between which it holds."""

    name: Text
    curve: CurveForm
    lowest_celsius: Number = -40.0
    highest_celsius: Number = 125.0
