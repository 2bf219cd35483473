"""An eye's page: its time line, what was seen, what is due, and the findings of today in one row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from fastapi import APIRouter, Request, Response
from markupsafe import Markup

from followup.care.danger import look_stored
from followup.care.fields.checked import RecordError, check
from followup.care.fields.shape import RECORD, Field, Group
from followup.care.trip_lines import TripLine, visit_lines
from followup.care.went import as_it_went
from followup.clinical.careplan import CarePlan, Course
from followup.clinical.protocol.formulary import label_of
from followup.clinical.record import Findings, Record
from followup.clinical.words.why_reasons import because_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.forms import values as flat
from followup.desks.forms.sheet import FormView
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, first, number_of
from followup.drawings.timeline_svg import timeline_svg, timeline_table
from followup.drawings.timeline_words import TimelineWords
from followup.errors import FollowupError
from followup.records.people.patients import correct_record, newest_record, patient_by_code
from followup.records.plans.plans import plans_of
from followup.records.store.journal import JournalEntry, journal_of
from followup.records.store.store import Session
from followup.records.trips.trips import trips_of
from followup.records.views import PatientView, PlanVersion, RecordVersion, TripView
from followup.said import say

router = APIRouter()
OneEye = Literal["right", "left"]
# In the order in which an eye is looked at, all in one row; the rest folds away.
ROW = (
    *("vision", "pressure", "cells", "flare", "cornea", "chamber", "leak", "pain"),
    *("redness_growing", "vision_falling", "hypopyon", "drops_taken"),
)
_GIVEN = ("eye", "date", "by")
DECIDED = "proposals decided"


@dataclass(frozen=True)
class NotTaken:
    """A course that is held or stopped; ``why`` in English sentences of the core."""

    course: Course
    why: tuple[str, ...]


@dataclass(frozen=True)
class EyeCase:
    """One eye of one patient with all that its pages show."""

    who: PatientView
    eye: OneEye
    version: RecordVersion
    plans: tuple[PlanVersion, ...]
    lines: tuple[TripLine, ...]
    decided: tuple[JournalEntry, ...]
    trips: tuple[TripView, ...]

    @property
    def record(self) -> Record:
        return self.version.record

    @property
    def in_force(self) -> PlanVersion | None:
        return next((plan for plan in self.plans if plan.status == "active"), None)

    @property
    def completed(self) -> PlanVersion | None:
        """The plan that completed last, where none is in force since."""
        ended = (plan for plan in self.plans if plan.status == "completed")
        return None if self.in_force else next(ended, None)

    @property
    def operated(self) -> tuple[date, ...]:
        """The days on which this eye was operated on."""
        return tuple(sorted(o.date for o in self.record.operations if o.eye == self.eye))

    @property
    def looks(self) -> tuple[Findings, ...]:
        """What was seen of this eye, newest first."""
        mine = (look for look in self.record.reviews if look.eye == self.eye)
        return tuple(sorted(mine, key=lambda look: (look.date, look.time or ""), reverse=True))

    @property
    def signed(self) -> tuple[CarePlan, ...]:
        """The signed versions, oldest first; the last is in force, or was until it ended."""
        return tuple(plan.body for plan in reversed(self.plans) if plan.signed_at)

    def courses(self) -> tuple[Course, ...]:
        """The courses of this eye and those by mouth, of the plan in force."""
        body = self.in_force.body if self.in_force else None
        return tuple(c for c in body.courses if c.eye in (self.eye, None)) if body else ()

    def taken(self, day: date) -> tuple[Course, ...]:
        """What is put in, or taken, on ``day``: nothing that is held or stopped."""
        return tuple(c for c in self.courses() if c.state == "active" and c.count_on(day))

    def not_taken(self, day: date) -> tuple[NotTaken, ...]:
        """What the plan names and is not given from ``day`` on, with why."""
        body = self.in_force.body if self.in_force else None
        asked = {question.id: question.text for question in body.questions} if body else {}
        return tuple(
            NotTaken(course, _why_not(course, asked))
            for course in self.courses()
            if course.state != "active" and (course.last_day is None or course.last_day >= day)
        )

    def day_of(self, day: date) -> int:
        """Days after the latest operation up to ``day``."""
        before = [start for start in self.operated if start <= day]
        return (day - max(before, default=self.operated[0])).days


def _why_not(course: Course, asked: Mapping[str, str]) -> tuple[str, ...]:
    """A held course waits for its questions; a stopped one is stopped by what was said last."""
    if course.state == "held":
        return tuple(asked.get(name, name) for name in course.held_by)
    return tuple(because_of(reason) for reason in course.reasons[-1:])


@router.get("/patients/{code}/eyes/{eye}")
def eye_page(request: Request, hand: AnyHand, code: str, eye: OneEye) -> Response:
    case = eye_case(hand, code, eye)
    today = next((look for look in case.looks if look.date == hand.today), None)
    data = {"reviews": [today.model_dump(mode="json", exclude_none=True)]} if today else {}
    return _page(request, hand, case, FormView(flat.flatten(RECORD, data)))


@router.post("/patients/{code}/eyes/{eye}/findings")
def enter_findings(request: Request, hand: AnyHand, code: str, eye: OneEye, form: AForm) -> Response:
    """Store what was seen today; a second row of the same day corrects the first."""
    case = eye_case(hand, code, eye)
    typed = flat.unflatten(RECORD, form).get("reviews") or [{}]
    try:
        store_findings(hand, case, typed[0], seen=number_of(first(form, "seen")))
    except FollowupError as exc:
        return _page(request, hand, case, _again(form, exc), error=exc.line, status=status_of(exc))
    return go(f"/patients/{case.who.code}/eyes/{eye}/looks/{hand.today}")


def store_findings(hand: DeskHand, case: EyeCase, look: dict[str, Any], *, seen: int) -> None:
    """Store a look of today, in place of an earlier one. ``seen``: the record's version looked at.

    Errors: ``findings.empty``, those of the record and of ``correct_record``.
    """
    if not any(name not in _GIVEN for name in look):
        raise FollowupError(
            "findings.empty",
            say("nothing was entered"),
            where=say("findings"),
            fix=say("enter what was seen"),
        )
    record = _with_look(case.record, look, hand, case.eye)
    stored = next(r for r in record.reviews if (r.eye, r.date) == (case.eye, hand.today))
    with hand.store.write(hand.actor, hand.now) as unit:
        correct_record(unit, patient_id=case.who.id, record=record, seen=seen)
        look_stored(unit, hand, case.who.id, record, stored)


def _again(form: Posted, exc: FollowupError) -> FormView:
    """The row as it was typed. Problems carry the look's place in the record; on the page it is 0."""
    problems = exc.problems if isinstance(exc, RecordError) else {}
    named = {f"reviews.0.{name.split('.')[-1]}": text for name, text in problems.items()}
    return FormView(form, named)


def _with_look(record: Record, typed: dict[str, Any], hand: DeskHand, eye: OneEye) -> Record:
    """The record with today's look at this eye in it, once."""
    data = record.model_dump(mode="json", exclude_none=True)
    day = hand.today.isoformat()
    others = [r for r in data.get("reviews", []) if (r["eye"], r["date"]) != (eye, day)]
    look = typed | {"eye": eye, "date": day, "by": hand.actor.name or hand.actor.login}
    return check(data | {"reviews": [*others, look]})


def eye_case(hand: DeskHand, code: str, eye: OneEye) -> EyeCase:
    """The eye's case. Errors: ``patient.unknown``, ``eye.unknown`` where it was never operated on."""
    with hand.store.read() as session:
        who = patient_by_code(session, code)
        if who is None:
            raise FollowupError(
                "patient.unknown", say("no patient with this code"), fix=say("look the patient up by name")
            )
        if eye not in who.eyes:
            raise FollowupError(
                "eye.unknown",
                say("the {eye} eye was not operated on", eye=eye),
                fix=say("open the patient and choose the eye"),
            )
        return _case(session, hand, who, eye)


def _case(session: Session, hand: DeskHand, who: PatientView, eye: OneEye) -> EyeCase:
    trips = trips_of(session, who.id)
    kept = tuple(t for t in trips if t.status != "cancelled")
    lines = tuple(line for line in visit_lines(session, hand, kept) if eye in line.eyes)
    decided = tuple(
        entry
        for entry in journal_of(session, f"patient:{who.code}")
        if entry.action == DECIDED and entry.details.get("eye") == eye
    )
    return EyeCase(
        who, eye, newest_record(session, who.id), plans_of(session, who.id), lines, decided[::-1], trips
    )


def look_fields() -> tuple[tuple[Field, ...], tuple[Field, ...]]:
    """The fields of a look: those of the row, and the rest."""
    shape = RECORD.member("reviews")
    assert isinstance(shape, Group)
    fields = {m.name: m for m in shape.members if isinstance(m, Field) and m.name not in _GIVEN}
    return tuple(fields[name] for name in ROW), tuple(f for name, f in fields.items() if name not in ROW)


def _drawn(hand: DeskHand, case: EyeCase) -> tuple[Markup, Markup]:
    """The time line as a picture and as a table, with the visits as they came about."""
    texts = hand.texts
    words = TimelineWords(texts.gettext, texts.day, texts.runs_left)
    signed = (*case.signed[:-1], as_it_went(case.signed[-1], case.trips, hand))
    given = (signed, case.record, case.eye, hand.today)

    def name(course: Course) -> str:
        return texts.apart(label_of(course.medicine, hand.protocol.formulary))

    # Both come escaped from the drawing's own maker.
    picture = Markup(timeline_svg(*given, name=name, words=words))  # noqa: S704
    return picture, Markup(timeline_table(*given, name=name, words=words))  # noqa: S704


def _page(
    request: Request,
    hand: DeskHand,
    case: EyeCase,
    form: FormView,
    *,
    error: str | None = None,
    status: int = 200,
) -> Response:
    row, rest = look_fields()
    signed, drawn = case.signed, None
    if signed and any(day <= hand.today for day in case.operated):
        drawn = _drawn(hand, case)
    return show(
        request,
        "eye.html",
        status=status,
        case=case,
        who=case.who,
        form=form,
        row=row,
        rest=rest,
        drawn=drawn,
        due=next((line for line in case.lines if line.open or line.stands == "here"), None),
        medicine=lambda course: label_of(course.medicine, hand.protocol.formulary),
        error=error,
    )
