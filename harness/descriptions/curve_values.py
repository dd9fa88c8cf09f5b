"""From a described thermistor curve to the science's curve values.

The description says what was written; `harness.metrology.thermistor` knows the formulas.
"""

from __future__ import annotations

from harness.descriptions.curve import BetaForm, CurveDescription, SteinhartHartForm
from harness.metrology.thermistor import Beta, SteinhartHart, Table

CurveValue = SteinhartHart | Beta | Table


def curve_value(description: CurveDescription) -> CurveValue:
    """The curve with `temperature(ohms)` and `resistance(celsius)`; ohms and degrees Celsius."""
    form = description.curve
    if isinstance(form, SteinhartHartForm):
        return SteinhartHart(a=form.a, b=form.b, c=form.c)
    if isinstance(form, BetaForm):
        return Beta(
            reference_ohms=form.reference_ohms,
            beta_kelvin=form.beta_kelvin,
            reference_celsius=form.reference_celsius,
        )
    return Table(celsius=form.celsius, ohms=form.ohms)
