"""What the audit counts and after whom, read from ``definitions.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path


@dataclass(frozen=True)
class AuditDefinitions:
    """``few``: fewer people than this are masked. ``percent``: of the interval. ``counting_fingers`` and
    ``hand_movements``: logMAR. ``late_from_day``: of an infection, days after surgery. ``within``: dioptres;
    ``benchmark``: published percentages up to each. ``hours``: one way, where the bands of distance end.
    ``sources``: by the name of the table."""

    few: int
    percent: int
    counting_fingers: float
    hand_movements: float
    late_from_day: int
    within: tuple[float, ...]
    benchmark: tuple[int, ...]
    hours: tuple[float, ...]
    sources: dict[str, str]


@cache
def audit_definitions() -> AuditDefinitions:
    """The definitions that the program brings."""
    told = tomllib.loads(Path(__file__).with_name("definitions.toml").read_text("utf-8"))
    return AuditDefinitions(
        few=told["masking"]["few"],
        percent=told["interval"]["percent"],
        counting_fingers=told["low_vision"]["counting_fingers"],
        hand_movements=told["low_vision"]["hand_movements"],
        late_from_day=told["infection"]["late_from_day"],
        within=tuple(told["refraction"]["within"]),
        benchmark=tuple(told["refraction_benchmark"]["percent"]),
        hours=tuple(told["distance"]["hours"]),
        sources={name: table["source"] for name, table in told.items()},
    )
