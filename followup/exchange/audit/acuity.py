"""Visual acuity in logMAR and back in Snellen's fractions."""

from __future__ import annotations

from math import log10

from followup.clinical.record.vision import acuity, below_chart
from followup.exchange.audit.definitions import AuditDefinitions


def log_mar(written: str, definitions: AuditDefinitions) -> float | None:
    """The logMAR of an acuity as it is written; None: light, or not understood.

    Letters more or fewer than the line ("6/9-2") are not counted.
    """
    below = below_chart(written)
    if below is not None:
        known = {
            "counting fingers": definitions.counting_fingers,
            "hand movements": definitions.hand_movements,
        }
        return known.get(below)
    found = acuity(written)
    return 0.0 - log10(found) if found else None


def snellen(value: float, distance: int) -> str:
    """A logMAR as the fraction of a chart at 6 (metres) or 20 (feet), the lower figure rounded.

    >>> snellen(0.0, 6), snellen(0.1, 6), snellen(1.0, 20)
    ('6/6', '6/7.6', '20/200')
    """
    lower = distance * 10**value
    return f"{distance}/{lower:.0f}" if lower >= 10 else f"{distance}/{round(lower, 1):g}"


def decimal(value: float) -> str:
    """A logMAR as a decimal acuity, to the hundredth, and below a tenth to two figures that count.

    >>> decimal(0.0), decimal(0.3), decimal(1.98)
    ('1', '0.5', '0.01')
    """
    told = 10**-value
    return f"{round(told, 2):g}" if told >= 0.1 else f"{told:.2g}"
