"""Who was followed up, and how well they see."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Final, Literal, cast, get_args

from followup.care.hand import Hand
from followup.clinical.careplan import Tier
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Eye, Record
from followup.records.figures.followed import visits_with_closed_window
from followup.records.figures.recent import VersionKey, changed_since, of_records
from followup.records.people.patients import patients_by_id
from followup.records.store.kept import Kept
from followup.records.views import PatientView

TIERS: Final[tuple[Tier, ...]] = get_args(Tier)
MONTHS = 6
FEW = 10
"""Of fewer visits than this no percentage is told: one more or less would turn it over."""
Result = Literal["in time", "late", "never"]
RESULTS: Final[tuple[Result, ...]] = get_args(Result)


@dataclass(frozen=True)
class FollowedVisit:
    """A visit whose last day has passed, and whose it was. ``seen``: when all of it was looked at."""

    who: PatientView
    tier: Tier
    result: Result
    last: date
    seen: date | None

    @property
    def month(self) -> date:
        return self.last.replace(day=1)


@dataclass(frozen=True)
class SeenEye:
    """An eye with its last vision; ``band``: when after surgery, and how well."""

    who: PatientView
    eye: Eye
    day: date
    vision: str
    band: str


@dataclass(frozen=True)
class Completeness:
    """Visits of one month or of one tier whose last day has passed: seen by then, seen later, not seen."""

    of: date | Tier
    in_time: int
    late: int
    never: int

    @property
    def all(self) -> int:
        return self.in_time + self.late + self.never

    @property
    def percent(self) -> int | None:
        """How many of a hundred were seen in time; None of a few."""
        return round(100 * self.in_time / self.all) if self.all >= FEW else None


@dataclass(frozen=True)
class Followed:
    """Since a day: who was seen of those whose last day passed, and each eye's last vision."""

    since: date
    visits: tuple[FollowedVisit, ...]
    eyes: tuple[SeenEye, ...]

    @property
    def tiers(self) -> list[Completeness]:
        return [_completeness(tier, [v.result for v in self.visits if v.tier == tier]) for tier in TIERS]

    @property
    def months(self) -> list[Completeness]:
        """From the first month in which something fell due to the last."""
        found: dict[date, list[Result]] = defaultdict(list)
        for visit in self.visits:
            found[visit.month].append(visit.result)
        return [_completeness(month, results) for month, results in sorted(found.items())]

    @property
    def bands(self) -> Counter[str]:
        return Counter(eye.band for eye in self.eyes)


# Of a record: eye, day, vision and band of each operation's last look.
_Seen = tuple[Eye, date, str, str]
_seen: Kept[VersionKey, tuple[_Seen, ...]] = Kept(8192)


def followed(hand: Hand) -> Followed:
    """This month and the five before it."""
    since = months_back(hand.today, MONTHS - 1)
    with hand.store.read() as session:
        closed = visits_with_closed_window(session, since, hand.today)
        recent = of_records(
            session,
            changed_since(hand.now - (hand.today - since) * 2),
            partial(_seen_of, protocol=hand.protocol, since=since),
            kept=_seen,
            by=(hand.protocol.hash, since),
        )
        people = patients_by_id(session, {*recent, *(one.patient for one in closed)})
    visits = [
        FollowedVisit(people[one.patient], cast(Tier, one.tier), one.result, one.last, one.seen)
        for one in closed
    ]
    eyes = [
        SeenEye(people[patient], *seen)
        for patient, looks in recent.items()
        if patient in people
        for seen in looks
    ]
    return Followed(
        since,
        tuple(sorted(visits, key=lambda one: (one.who.name.casefold(), one.who.code, one.last))),
        tuple(sorted(eyes, key=lambda one: (one.who.name.casefold(), one.who.code, one.eye, one.day))),
    )


def months_back(day: date, months: int) -> date:
    """The first day of the month so many months before that of ``day``."""
    years, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    return date(years, month + 1, 1)


def _completeness(of: date | Tier, results: Iterable[Result]) -> Completeness:
    found = Counter(results)
    return Completeness(of, found["in time"], found["late"], found["never"])


def _seen_of(record: Record, protocol: Protocol, since: date) -> tuple[_Seen, ...]:
    """Each operation once: an eye that is operated again is the later operation's from then on."""
    return tuple(_of_record(record, protocol, since))


def _of_record(record: Record, protocol: Protocol, since: date) -> Iterator[_Seen]:
    for operation in record.operations:
        looks = [
            look
            for look in record.looks_after(operation)
            if (look.vision or look.pinhole) and look.date >= since
        ]
        if not looks:
            continue
        last = looks[-1]
        vision = last.vision or last.pinhole or ""
        seen = protocol.vision_bands.band(vision)
        when = "early" if (last.date - operation.date).days < protocol.early_vision.days else "final"
        yield operation.eye, last.date, vision, f"{when} {seen or 'not understood'}"
