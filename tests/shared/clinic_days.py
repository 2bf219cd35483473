"""Where a clinic's day begins: instants written down from the published tz database, release 2026."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

TICK = timedelta(microseconds=1)


@dataclass(frozen=True)
class Turn:
    """The midnight at which ``day`` begins in ``zone``: ``begins`` in UTC."""

    zone: str
    day: date
    begins: datetime

    @property
    def eve(self) -> date:
        """The day before."""
        return self.day - timedelta(days=1)

    @property
    def around(self) -> tuple[tuple[str, datetime, bool], ...]:
        """Instants before, at and after midnight, with whether the day has begun."""
        half = timedelta(minutes=30)
        return (
            ("23:30 of the evening before", self.begins - half, False),
            ("the last instant of the day before", self.begins - TICK, False),
            ("midnight", self.begins, True),
            ("half an hour after midnight", self.begins + half, True),
        )

    def __str__(self) -> str:
        return f"{self.zone} {self.day}"


def local(zone: str, text: str, *, fold: int = 0) -> datetime:
    """The instant at which clocks in ``zone`` show ``text`` ("2027-03-10 23:30")."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC)


def _turn(zone: str, day: str, begins: str) -> Turn:
    return Turn(zone, date.fromisoformat(day), datetime.fromisoformat(begins).replace(tzinfo=UTC))


TURNS = (
    # East of UTC, where UTC still shows the day before, and west, where it is a day ahead.
    _turn("Asia/Kolkata", "2027-03-10", "2027-03-09 18:30"),
    _turn("Pacific/Kiritimati", "2028-01-01", "2027-12-31 10:00"),
    _turn("America/Lima", "2027-12-31", "2027-12-31 05:00"),
    _turn("Pacific/Pago_Pago", "2027-04-01", "2027-04-01 11:00"),
    # The ends of February in a leap year.
    _turn("Asia/Kolkata", "2028-02-29", "2028-02-28 18:30"),
    _turn("America/Lima", "2028-03-01", "2028-03-01 05:00"),
    # New York's days of 23 hours (14 March, an hour is missing) and of 25 (7 November, one comes twice).
    _turn("America/New_York", "2027-03-14", "2027-03-14 05:00"),
    _turn("America/New_York", "2027-03-15", "2027-03-15 04:00"),
    _turn("America/New_York", "2027-11-07", "2027-11-07 04:00"),
    _turn("America/New_York", "2027-11-08", "2027-11-08 05:00"),
    # Cairo has no midnight on 30 April 2027 (00:00 to 01:00), Havana two on 7 November.
    _turn("Africa/Cairo", "2027-04-30", "2027-04-29 22:00"),
    _turn("America/Havana", "2027-11-07", "2027-11-07 04:00"),
)
IDS = [str(turn) for turn in TURNS]
