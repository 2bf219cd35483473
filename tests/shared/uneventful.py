"""An uneventful operation, told so far that nothing is asked of it."""

from __future__ import annotations

from datetime import date
from typing import Any


def uneventful(day: date | str) -> dict[str, Any]:
    """One on the right eye on that day."""
    return {
        "eye": "right",
        "eye_drawn": "right",
        "date": str(day),
        "procedure": "phacoemulsification",
        "cut_mm": 2.4,
        "stitches": 0,
        "chamber": "normal",
        "viscoelastic": {"removed": "all"},
        "lens": "bag",
    }
