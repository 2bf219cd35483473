"""The invented clinic: its name, telephones, open days, services and staff. No such place exists.

The telephone numbers lie in ranges that regulators keep free for stories (+44 20 7946 0xxx,
+44 7700 900xxx, +1 555 01xx), so that nobody is ever called by a demonstration.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from followup.timing.calendar_entries import WEEKDAYS

NAME = "Quillmere Sample Eye Clinic"
CODE = "QM"
TELEPHONE_DAY = "+44 20 7946 0110"
TELEPHONE_NIGHT = "+44 20 7946 0111"
NEAREST_EYE_CLINIC = "Ferrybank Sample Eye Room, 9 km, +44 20 7946 0112"
ADDRESS = "3 Sample Lane, Quillmere"
TIME_ZONE = "Europe/London"
LANGUAGES = ("en", "bn", "ar")


@dataclass(frozen=True)
class Member:
    """One of the staff: how to log in and what for."""

    login: str
    name: str
    role: str
    registration: str | None = None


STAFF = (
    Member("counsellor", "Nadia Ferrow", "counsellor"),
    Member("reception", "Owen Tallis", "reception"),
    Member("surgeon", "Dr Mirela Oakhart", "surgeon", "SAMPLE-0001"),
    Member("pharmacy", "Ishaan Velloor", "pharmacy"),
    Member("manager", "Ruth Amberley", "manager"),
)
SURGEON = STAFF[2]


def closed_weekday(today: date) -> str:
    """Closed on Sundays; who opens the demonstration on a Sunday meets a clinic that closes on Fridays."""
    return "friday" if WEEKDAYS[today.weekday()] == "sunday" else "sunday"


def open_weekdays(today: date) -> tuple[str, ...]:
    return tuple(name for name in WEEKDAYS if name != closed_weekday(today))


def holidays(today: date) -> tuple[date, ...]:
    """Two days off: one behind, one ahead of ``today``; never today, never a day closed every week."""
    return _works(today - timedelta(days=17), today), _works(today + timedelta(days=11), today)


def _works(day: date, today: date) -> date:
    """``day`` itself or, where the clinic is closed on it every week, the next."""
    return day + timedelta(days=WEEKDAYS[day.weekday()] == closed_weekday(today))


def is_open(day: date, today: date) -> bool:
    """Whether the clinic of a demonstration that begins ``today`` works on ``day``; it works today."""
    return WEEKDAYS[day.weekday()] in open_weekdays(today) and day not in holidays(today)
