"""Visual acuity as it is written, and the outcome bands of the World Health Organization.

Bands: good 6/18 or better, borderline worse than 6/18 to 6/60, poor worse than 6/60 (Ramke and
others, PLoS One 2017;12:e0172342).
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

Band = Literal["good", "borderline", "poor"]
BANDS_SOURCE = "WHO outcome bands; Ramke and others, PLoS One 2017;12:e0172342"
_FRACTION = re.compile(r"(\d{1,3}(?:\.\d)?)\s*/\s*(\d{1,4}(?:\.\d)?)\s*[+-]?\d?")
_DECIMAL = re.compile(r"[01](?:[.,]\d{1,3})?")
# Below any chart: counting fingers, hand movements, light.
_BELOW = re.compile(r"(cf|fc|hm|pl|lp|npl|nlp|count|hand|light|no light|fingers)", re.I)


def band(written: str) -> Band | None:
    """The band of an acuity such as 6/12, 20/40, 0.5 or "hand movements"; None: not understood."""
    text = written.strip()
    if _BELOW.match(text):
        return "poor"
    value = _value(text)
    if value is None:
        return None
    if value >= Fraction(6, 18):
        return "good"
    return "borderline" if value >= Fraction(6, 60) else "poor"


def _value(text: str) -> Fraction | None:
    if (found := _FRACTION.fullmatch(text)) and Fraction(found[2]) > 0:
        return Fraction(found[1]) / Fraction(found[2])
    if _DECIMAL.fullmatch(text):
        value = Fraction(text.replace(",", "."))
        # A third written as 0.33 or 0.3 is the line 6/18; the chart has none between.
        return Fraction(6, 18) if Fraction("0.3") <= value < Fraction(6, 18) else value
    return None
