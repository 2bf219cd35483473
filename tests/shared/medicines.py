"""The figures of a medicine that a test makes up, where it is about something else."""

from __future__ import annotations

USUAL = {
    "drops_per_ml": 20,
    "doses_per_g": 20,
    "open_days": 28,
    "wait_minutes": 5,
    "shortest_interval_hours": 1,
}
