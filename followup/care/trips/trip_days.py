"""Where a visit may go: every day of its window, and why the window is what it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from followup.care.hand import Hand
from followup.care.trips.trip_lines import TripLine, visit_lines
from followup.clinical.words.why_reasons import because_of
from followup.records.plans.plans import plan
from followup.records.store.store import Session
from followup.records.trips.places import planning_calendar
from followup.records.trips.trips import trip
from followup.timing.calendar import Calendar

MOST_DAYS = 70


@dataclass(frozen=True)
class DayChoice:
    """A day of the window. ``room``: places left, None without limit; 0 places: closed or full."""

    day: date
    open: bool
    room: int | None
    away: int

    @property
    def possible(self) -> bool:
        return self.open and self.room != 0


@dataclass(frozen=True)
class Moving:
    """A visit with every day of its window, and why the window is what it is."""

    line: TripLine
    days: tuple[DayChoice, ...]
    because: tuple[str, ...]


def days_to_choose(hand: Hand, trip_id: int) -> Moving:
    """Where a visit may go. Error ``trip.unknown``."""
    with hand.store.read() as session:
        line = visit_lines(session, hand, [trip(session, trip_id)])[0]
        days = _choices(hand, line, planning_calendar(session, line.trip.patient_id))
        return Moving(line, days, _because(session, line))


def _choices(hand: Hand, line: TripLine, calendar: Calendar) -> tuple[DayChoice, ...]:
    start = max(line.trip.window_start, hand.today)
    count = min((line.trip.window_end - start).days + 1, MOST_DAYS)
    return tuple(_choice(line, start + timedelta(days=i), calendar) for i in range(count))


def _choice(line: TripLine, day: date, calendar: Calendar) -> DayChoice:
    services = line.trip.services
    rooms = [room for service in services if (room := calendar.room(service, day)) is not None]
    is_open = calendar.is_open(day) and all(calendar.offers(service, day) for service in services)
    return DayChoice(day, is_open, min(rooms, default=None), (day - line.trip.day).days)


def _because(session: Session, line: TripLine) -> tuple[str, ...]:
    """Why the window is what it is, each sentence once: what leaving it would cost."""
    body = plan(session, line.trip.plan_id).body
    needs = [need for need in body.needs if need.key in line.trip.serves]
    return tuple(dict.fromkeys(because_of(reason) for need in needs for reason in need.reasons))
