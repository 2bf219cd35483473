"""Visits whose day the surgeon set: how they enter the planning of trips."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from followup.clinical.careplan import ReviewNeed
from followup.clinical.plan.decided import FIXED_VISIT, Decisions
from followup.clinical.record import Record
from followup.timing.trip_types import BookedTrip, TripNeed

ELSEWHERE = "elsewhere"
"""The service of a look at another clinic: it takes no place here."""
STANDS = "decided:"
"""Names a visit that stands for no need of this plan."""


@dataclass(frozen=True)
class Stays:
    """``places`` are the decided days still to come, each with the other clinic where it is one.

    ``given`` are the services that are given on them, ``away`` the needs that another clinic looks at,
    ``moved`` the booked days that a decision has moved.
    """

    places: Mapping[date, str | None]
    given: frozenset[tuple[str, date]]
    away: frozenset[str]
    moved: frozenset[date]

    @classmethod
    def of(cls, record: Record, decisions: Decisions, needs: Sequence[ReviewNeed], start: date) -> Stays:
        """The decisions whose day is still to come; ``needs`` are those that are planned."""
        live = {need.key: need for need in needs}
        days = [d for d in decisions.days.values() if d.need in live and live[d.need].latest == d.day]
        told = [d for d in (*days, *decisions.stays) if d.day is not None and d.day >= start]
        places = {d.day: d.place for d in told if d.day is not None}
        given = {(live[d.need].service, d.day) for d in days if d.day is not None}
        given |= {(ELSEWHERE, day) for day, place in places.items() if place is not None}
        moved = {
            date.fromisoformat(d.need.removeprefix(FIXED_VISIT))
            for d in record.decisions
            if d.need.startswith(FIXED_VISIT)
        }
        away = frozenset(d.need for d in days if d.place is not None)
        return cls(places, frozenset(given), away, frozenset(moved))

    def booked(self) -> Iterator[BookedTrip]:
        """Decided days at this clinic: each is a visit whatever it serves."""
        for day, place in self.places.items():
            if place is None:
                yield BookedTrip(day, cannot_move=True, decided=True)

    def elsewhere(self) -> Iterator[TripNeed]:
        """Days at another clinic: each is a visit, and nothing of this clinic is done on it."""
        for day, place in self.places.items():
            if place is not None:
                yield TripNeed(f"{STANDS}{day}", ELSEWHERE, day, day, day, elsewhere=True)
