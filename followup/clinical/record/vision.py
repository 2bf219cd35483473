"""Visual acuity as it is written: fractions of any chart, decimals, and what lies below any chart."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

Band = Literal["good", "borderline", "poor"]
BelowChart = Literal["counting fingers", "hand movements", "light"]
_FRACTION = re.compile(r"(\d{1,3}(?:\.\d)?)\s*/\s*(\d{1,4}(?:\.\d)?)\s*[+-]?\d?")
_DECIMAL = re.compile(r"[01](?:[.,]\d{1,3})?")
# Below any chart: counting fingers, hand movements, light.
_BELOW = re.compile(r"(cf|fc|hm|pl|lp|npl|nlp|count|hand|light|no light|fingers)", re.I)


def below_chart(written: str) -> BelowChart | None:
    """What is seen below any chart, where that is written; "light" is light seen or not."""
    found = _BELOW.match(written.strip())
    if found is None:
        return None
    word = found[1].lower()
    if word in ("cf", "fc", "count", "fingers"):
        return "counting fingers"
    return "hand movements" if word in ("hm", "hand") else "light"


def acuity(written: str) -> Fraction | None:
    """An acuity such as 6/12, 20/40, 0.5 or "hand movements" (0: below any chart); None: not understood."""
    text = written.strip()
    if below_chart(text):
        return Fraction(0)
    if (found := _FRACTION.fullmatch(text)) and Fraction(found[2]) > 0:
        return Fraction(found[1]) / Fraction(found[2])
    if _DECIMAL.fullmatch(text):
        value = Fraction(text.replace(",", "."))
        # A third written as 0.33 or 0.3 is the line 6/18; the chart has none between.
        return Fraction(6, 18) if Fraction("0.3") <= value < Fraction(6, 18) else value
    return None
