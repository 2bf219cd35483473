"""Visual acuity and refraction as written: charts, decimals, below any chart; sphere and cylinder."""

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
_NUMBER = r"\d{1,2}(?:[.,]\d{1,2})?"
# Without its sign a power may mean two eyes: only nought stands alone.
_SPHERE = rf"(?P<sphere>plano|pl|[+\-]{_NUMBER}|0(?:[.,]0{{1,2}})?)"
_CYLINDER = rf"(?:[/ ]*(?P<cylinder>[+\-]{_NUMBER}))"
_AXIS = r"(?:\s*(?:x|×|@|ax(?:is)?|at)\s*(?P<axis>\d{1,3})\s*°?)"
_REFRACTION = re.compile(rf"{_SPHERE}(?:\s*ds?)?(?:{_CYLINDER}(?:\s*dc?)?{_AXIS})?", re.I)
MOST_DIOPTRES = 30
"""A stronger lens is a slip of the pen."""
MOST_CYLINDER = 15


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


def spherical_equivalent(written: str) -> float | None:
    """Sphere and half of the cylinder, in dioptres, of either notation; None: not understood.

    >>> spherical_equivalent("-0.50 / -1.00 x 90"), spherical_equivalent("-1.50 / +1.00 x 180")
    (-1.0, -1.0)
    >>> spherical_equivalent("plano"), spherical_equivalent("0.50"), spherical_equivalent("?")
    (0.0, None, None)
    """
    found = _REFRACTION.fullmatch(written.strip().replace("\N{MINUS SIGN}", "-").replace("–", "-"))
    if found is None or int(found["axis"] or 0) > 180:
        return None
    told = found["sphere"].lower()
    sphere = 0.0 if told in ("plano", "pl") else _dioptres(told)
    cylinder = _dioptres(found["cylinder"] or "0")
    power = sphere + cylinder / 2
    return power if abs(power) <= MOST_DIOPTRES and abs(cylinder) <= MOST_CYLINDER else None


def _dioptres(text: str) -> float:
    return float(text.replace(",", "."))
