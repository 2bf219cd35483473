"""Lateness: a pure function of a visit's days and the present instant.

Days are the clinic's own; instants carry their zone. A day begins at local midnight, or at the
first instant after it where the clocks jump over midnight.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo

Lateness = Literal["upcoming", "due today", "late", "overdue", "here", "left", "done", "cancelled"]
_OVER: dict[str, Lateness] = {"arrived": "here", "fulfilled": "done", "cancelled": "cancelled"}


@dataclass(frozen=True)
class VisitDays:
    """What lateness needs to know. ``window_end`` is the earliest latest day of the needs served.

    ``unseen``: the patient was here, has left, and no look is written down.
    """

    day: date
    window_end: date
    status: str = "proposed"
    unseen: bool = False

    @property
    def is_open(self) -> bool:
        """Proposed, booked and missed alike: what the visit is for has not been looked at."""
        return self.status not in _OVER


@dataclass(frozen=True)
class Turns:
    """The instants (UTC) at which a visit turns late and overdue; None: never."""

    late_at: datetime | None
    overdue_at: datetime | None


def lateness(visit: VisitDays, now: datetime, zone: ZoneInfo) -> Lateness:
    """How a visit stands at ``now``.

    Due today for the whole local day; late from the midnight after it while the window is open;
    overdue from the midnight after the window's last day, whatever day the visit was moved to.
    """
    over = _OVER.get(visit.status)
    if over is not None:
        return "left" if over == "here" and visit.unseen else over
    turns = became_at(visit, zone)
    if turns.overdue_at is not None and now >= turns.overdue_at:
        return "overdue"
    if turns.late_at is not None and now >= turns.late_at:
        return "late"
    return "due today" if now >= day_begins(visit.day, zone) else "upcoming"


def became_at(visit: VisitDays, zone: ZoneInfo) -> Turns:
    """When the visit turns late and overdue, if it stays open.

    A visit on the last day of its window is never merely late: it turns overdue at once.
    """
    if not visit.is_open:
        return Turns(None, None)
    late = day_begins(visit.day + timedelta(days=1), zone)
    overdue = day_begins(visit.window_end + timedelta(days=1), zone)
    return Turns(late if late < overdue else None, overdue)


def days_overdue(visit: VisitDays, today: date) -> int:
    """Whole days since the last day of the window; 0 while it is open."""
    return max(0, (today - visit.window_end).days)


@lru_cache(maxsize=1024)
def day_begins(day: date, zone: ZoneInfo) -> datetime:
    """The first instant of the local ``day``, in UTC."""
    # Where the clocks go back over midnight, fold 0 is the earlier of the two midnights. Where they
    # jump over it, fold 0 reads it with the offset before the jump, which is the instant of the jump.
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)
