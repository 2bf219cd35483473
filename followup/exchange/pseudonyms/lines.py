"""What goes out of one patient: rows in, lines out, with a key and days that are this export's alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from followup.clinical.record import Record
from followup.clinical.record.ages import oldest, youngest
from followup.exchange.pseudonyms.fields import Veil, record_out
from followup.records.desk.attempts import AttemptView, FollowStanding
from followup.records.views import PlanVersion, TripView

# Older people are so few that their age alone would tell who they are.
OLDEST_TOLD = 89
SMALL = 5
_BAND = 5


@dataclass(frozen=True)
class OnePatient:
    """All that is known of one patient, and the ``key`` and ``veil`` under which it goes out."""

    key: str
    veil: Veil
    record: Record
    plans: tuple[PlanVersion, ...]
    visits: tuple[TripView, ...]
    attempts: tuple[AttemptView, ...]
    standing: FollowStanding | None


@dataclass(frozen=True)
class Outline:
    """What is compared of a patient with the others: the group of people alike, and the days in between."""

    group: tuple[object, ...]
    intervals: tuple[int, ...]


def outline(told: OnePatient) -> Outline:
    """The group is sex, age in bands of five years and how many eyes were operated; the intervals are those
    between all days of operations, looks, visits and attempts to reach the patient."""
    age, eyes = _age(told.record), len({one.eye for one in told.record.operations})
    band = age if isinstance(age, str) else age // _BAND * _BAND
    record = told.record
    days = {one.date for one in record.operations} | {one.date for one in record.reviews}
    days |= {one.day for one in told.attempts}
    days |= {day for one in told.visits for day in (one.day, one.seen_on) if day is not None}
    first = min(days)
    return Outline((told.record.patient.sex, band, eyes), tuple(sorted((day - first).days for day in days)))


def last_happened(told: OnePatient) -> date:
    """The last day on which something was done: an operation, a look, a visit, an attempt to reach them."""
    record = told.record
    days = {one.date for one in record.operations} | {one.date for one in record.reviews}
    seen = {one.seen_on for one in told.visits if one.seen_on is not None}
    return max(days | seen | {one.day for one in told.attempts})


def alone_by_intervals(outlines: Iterable[Outline]) -> int:
    """Of how many nobody else has the same days in between; one day alone has none."""
    counted = Counter(one.intervals for one in outlines if len(one.intervals) > 1)
    return sum(number == 1 for number in counted.values())


def small_groups(outlines: Iterable[Outline]) -> frozenset[tuple[object, ...]]:
    """The groups of fewer than five people."""
    counted = Counter(one.group for one in outlines)
    return frozenset(group for group, number in counted.items() if number < SMALL)


def patient_line(told: OnePatient, small: frozenset[tuple[object, ...]]) -> dict[str, object]:
    """Who it is, as far as that is told, and the operative record."""
    standing = told.standing
    return {
        "patient": told.key,
        "age": _age(told.record),
        "small_group": outline(told).group in small,
        "standing": standing.standing if standing else "followed",
        "standing_since": told.veil.day(standing.since.date()) if standing else None,
        "record": record_out(told.record, told.veil),
    }


def course_lines(told: OnePatient) -> Iterator[dict[str, object]]:
    """Each step of each course of the signed plans."""
    for version in told.plans:
        for course in version.body.courses:
            for step in course.steps:
                yield {
                    "patient": told.key,
                    "plan": version.number,
                    "plan_status": version.status,
                    "eye": course.eye,
                    "role": course.role,
                    "medicine": told.veil.medicine(course.medicine),
                    "state": course.state,
                    "from": told.veil.day(step.start),
                    "days": step.days,
                    "times_a_day": step.count,
                }


def visit_lines(told: OnePatient, kinds: frozenset[str]) -> Iterator[dict[str, object]]:
    """Each visit, with the ``kinds`` of look that it is for."""
    for visit in told.visits:
        yield {
            "patient": told.key,
            "plan": _number(told.plans, visit.plan_id),
            "visit": visit.number,
            "day": told.veil.day(visit.day),
            "window_from": told.veil.day(visit.window_start),
            "window_to": told.veil.day(visit.window_end),
            "tier": visit.tier,
            "status": visit.status,
            "seen": told.veil.day(visit.seen_on),
            "for": _looks(visit.serves, kinds),
            "done": _looks(visit.served, kinds),
        }


def contact_lines(told: OnePatient) -> Iterator[dict[str, object]]:
    """Each attempt to reach the patient that was not a slip."""
    for attempt in told.attempts:
        yield {
            "patient": told.key,
            "day": told.veil.day(attempt.day),
            "way": attempt.way,
            "outcome": attempt.outcome,
            "promised": told.veil.day(attempt.promised),
        }


def _age(record: Record) -> int | str:
    """In whole years at the first operation that the record holds."""
    patient = record.patient
    born = (patient.birth_date, patient.birth_year, record.first_day)
    return youngest(*born) if oldest(*born) <= OLDEST_TOLD else f"{OLDEST_TOLD + 1} or more"


def _looks(keys: Iterable[str], kinds: frozenset[str]) -> list[str]:
    """The looks of these kinds, as eye and kind; another word may be anybody's own."""
    split = [(eye, kind) for eye, _, kind in (key.partition(":") for key in keys)]
    return [f"{eye}:{kind}" for eye, kind in split if eye in ("right", "left") and kind in kinds]


def _number(plans: Iterable[PlanVersion], plan_id: int) -> int | None:
    return next((one.number for one in plans if one.id == plan_id), None)
