"""A plan as the pages show it: names instead of keys, and beside each day which day it is after surgery."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from followup.care.hand import Hand
from followup.clinical.careplan import (
    AllergyLine,
    BeforeLeaving,
    CarePlan,
    Caution,
    Course,
    InWords,
    Question,
    ReviewNeed,
    Trip,
)
from followup.clinical.facts.allergies_told import allergy_lines
from followup.clinical.plan.in_words import told_in_words
from followup.clinical.plan.keys_told import PlanNames
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.record import Eye, Record
from followup.records.people.patients import record_version
from followup.records.plans.plans import plan
from followup.records.store.store import Session
from followup.records.views import PlanVersion, RecordVersion


@dataclass(frozen=True)
class PlanView:
    """One version of a plan with its record and the protocol that gives names to its keys."""

    version: PlanVersion
    record: Record
    protocol: Protocol
    today: date

    @property
    def plan(self) -> CarePlan:
        return self.version.body

    @property
    def allergies(self) -> tuple[AllergyLine, ...]:
        """Every allergy of the record that the plan was made from, as it is recorded."""
        return allergy_lines(self.record)

    @property
    def in_words(self) -> tuple[InWords, ...]:
        """What that record tells in free text."""
        return told_in_words(self.record)

    @property
    def eyes(self) -> tuple[Eye, ...]:
        """The operated eyes, in order of surgery."""
        return tuple(dict.fromkeys(o.eye for o in sorted(self.record.operations, key=lambda o: o.date)))

    @property
    def questions(self) -> tuple[Question, ...]:
        """Those that block signing first."""
        return tuple(sorted(self.plan.questions, key=lambda q: not q.blocks))

    @property
    def names(self) -> PlanNames:
        """The keys of the plan in words."""
        return PlanNames(self.plan, self.protocol)

    def medicine(self, course: Course) -> str:
        """Name and strength, or the key of a medicine that is not in the formulary."""
        return label_of(course.medicine, self.protocol.formulary)

    def label(self, medicine: str) -> str:
        """The same by a medicine's key."""
        return label_of(medicine, self.protocol.formulary)

    def bottle(self, key: str) -> Course:
        """The course that a key of rounds or bottles names."""
        return self.plan.course(key)

    def courses_of(self, keys: Iterable[str]) -> tuple[Course, ...]:
        """The courses with these keys; a key that names no course of the plan is left out."""
        return tuple(course for course in self.plan.courses if course.key in set(keys))

    def held_by(self, course: Course) -> tuple[str, ...]:
        """What holds a course, in words."""
        return tuple(dict.fromkeys(self.names.waits_for([name]) for name in course.held_by))

    @property
    def before_leaving(self) -> tuple[BeforeLeaving, ...]:
        """The checks before leaving of the eyes operated today; they end with the day of the operation."""
        return tuple(item for item in self.plan.before_leaving if item.eye in self._operated_today)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What is to be watched now: a caution about the day of the operation ends with it."""
        of_the_day = {advice.id for advice in self.protocol.aftercare.advice if advice.of_the_day}
        return tuple(
            caution
            for caution in self.plan.cautions
            if caution.sheet not in of_the_day or caution.eye in self._operated_today
        )

    @property
    def _operated_today(self) -> frozenset[Eye | None]:
        """The eyes whose operation is today or still to come; None, the whole patient, with any of them."""
        eyes: set[Eye | None] = {o.eye for o in self.record.operations if o.date >= self.today}
        return frozenset({*eyes, None} if eyes else eyes)

    @property
    def watched(self) -> tuple[str, ...]:
        """What a visit without a need of its own is for: no check may be too long away."""
        kinds = dict.fromkeys(kind for kind, _ in self.plan.watched)
        return tuple(text_of(kind, self.protocol.kinds) for kind in kinds)

    def kind(self, need: ReviewNeed) -> str:
        """What a need looks at, in words."""
        return text_of(need.kind, self.protocol.kinds)

    def reasons_of(self, keys: Iterable[str]) -> tuple[ReviewNeed, ...]:
        """The needs that a trip serves."""
        needs = {need.key: need for need in self.plan.needs}
        return tuple(needs[key] for key in keys if key in needs)

    def day_number(self, day: date, eye: Eye | None = None) -> str:
        """Days after the latest operation of ``eye``, or of each eye: "7", or "17 / 7"."""
        eyes: tuple[Eye, ...] = (eye,) if eye else self.eyes
        latest = {
            e: max(o.date for o in self.record.operations if o.eye == e) for e in eyes if e in self.eyes
        }
        return " / ".join(str((day - start).days) for start in latest.values())

    @property
    def trips(self) -> tuple[Trip, ...]:
        return tuple(trip for trip in self.plan.trips if trip.status != "cancelled")

    def changeable(self, course: Course) -> bool:
        """Whether the surgeon can change the steps of this course."""
        return course.role != "steroid tablet" and not course.from_before and course.state != "stopped"

    @property
    def in_use(self) -> bool:
        """Whether this version is the one to change: a draft, or the one in force."""
        return self.version.status in ("draft", "active")


@dataclass(frozen=True)
class Untreated:
    """An eye whose last measured pressure is high while the plan holds no pressure medicine for it."""

    eye: Eye
    mmhg: float
    day: date


def untreated(view: PlanView, record: Record) -> tuple[Untreated, ...]:
    """The eyes of this plan, by the looks of the newest ``record``, from the protocol's figure on."""
    found = []
    for eye in view.eyes:
        measured = [r for r in record.reviews if r.eye == eye and isinstance(r.pressure, float)]
        last = max(measured, key=lambda look: (look.date, look.time or ""), default=None)
        if last is None or not isinstance(last.pressure, float):
            continue
        high = last.pressure >= view.protocol.review.settings.untreated_from
        if high and not any(_lowers(course, eye, view.today) for course in view.plan.courses):
            found.append(Untreated(eye, last.pressure, last.date))
    return tuple(found)


def _lowers(course: Course, eye: Eye, today: date) -> bool:
    runs = course.last_day is None or course.last_day >= today
    return course.role == "pressure" and course.state == "active" and course.eye in (eye, None) and runs


def steps_left(course: Course, day: date) -> tuple[tuple[int, int], ...]:
    """The (times a day, days) of ``course`` from ``day`` on."""
    left = []
    for step in course.steps:
        first = max(step.start, day)
        if step.end >= first:
            left.append((step.count, (step.end - first).days + 1))
    return tuple(left)


def load(hand: Hand, plan_id: int) -> PlanView:
    """The plan with the record that it was made from. Error: ``plan.unknown``."""
    with hand.store.read() as session:
        return view_of(session, hand, plan(session, plan_id))


def view_of(session: Session, hand: Hand, version: PlanVersion) -> PlanView:
    """A version as the pages show it."""
    return PlanView(version, record_of(session, version).record, hand.protocol, hand.today)


def record_of(session: Session, version: PlanVersion) -> RecordVersion:
    """The version of the record that a plan was made from."""
    return record_version(session, version.patient_id, version.record_number)
