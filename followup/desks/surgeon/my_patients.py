"""The surgeon's overview: inflamed eyes of the week worst first, my overdue patients, plans side by side."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from followup.care.danger import InDanger, in_danger
from followup.care.trip_lines import TripLine, visit_lines
from followup.clinical.facts.derive import truth
from followup.clinical.facts.eye_rules import apply_rules
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reviews import GRADES
from followup.clinical.record import Findings, Record
from followup.clinical.record.eye import followed_eyes
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.page.effect import PlanWords, side_by_side
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, first
from followup.errors import FollowupError
from followup.recall.reach.ladder import ForSurgeon, declare_lost, for_surgeon
from followup.recall.reach.line import ToReach
from followup.recall.reach.worklist import reason, worklist
from followup.records.desk.attempts import set_standing
from followup.records.desk.leaving import left_trips
from followup.records.figures.recent import records_since
from followup.records.people.oplist import folded_name, surgeons_of
from followup.records.people.patients import (
    patient,
    patient_by_code,
    patients_by_id,
    unknown_patient,
)
from followup.records.plans.plans import plan
from followup.records.store.store import Session
from followup.records.views import PatientView, PlanVersion
from followup.said import say

router = APIRouter()
WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Inflamed:
    """An eye above what is expected at its last look of the week; ``day`` counts from surgery."""

    who: PatientView
    look: Findings
    day: int
    rank: tuple[int, ...]


@router.get("/my-patients")
def my_patients(request: Request, hand: AnyHand) -> Response:
    words, found = hand.texts.translator, overview(hand)
    return show(
        request,
        "my-patients.html",
        danger=found.danger,
        left=found.left,
        inflamed=found.inflamed,
        mine=[(line, reason(line, words)) for line in found.mine],
        decide=[(item, reason(item.line, words)) for item in found.decide],
        error=None,
    )


@dataclass(frozen=True)
class Overview:
    """Eyes in danger; who left without findings; the inflamed eyes of the week, my own overdue patients,
    and those whom only I can decide about."""

    danger: tuple[InDanger, ...]
    left: tuple[TripLine, ...]
    inflamed: list[Inflamed]
    mine: list[ToReach]
    decide: tuple[ForSurgeon, ...]


def overview(hand: DeskHand) -> Overview:
    """What a surgeon must see besides the plans to sign."""
    with hand.store.read() as session:
        lines = worklist(session, hand.now, hand.protocol.recall)
        mine = _mine(session, hand, lines)
        decide = for_surgeon(lines, hand.protocol.recall, hand.today)
        left = visit_lines(session, hand, left_trips(session, hand.today))
        return Overview(in_danger(session), left, _inflamed(session, hand), mine, decide)


@router.post("/patients/{code}/standing")
def change_standing(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """The surgeon says that a patient is lost, has refused, or is followed again."""
    say_standing(hand, code, standing=first(form, "standing"), reason=first(form, "reason"))
    return go(f"/patients/{code}")


def say_standing(hand: DeskHand, code: str, *, standing: str, reason: str) -> None:
    """Store what the surgeon says of a patient; lost to follow-up only where the rule allows it."""
    with hand.store.write(hand.actor, hand.now) as unit:
        item = _to_decide(unit.session, hand, code)
        if standing == "lost to follow-up" and item:
            declare_lost(unit, item.line, hand.protocol.recall, reason=reason)
        elif standing in ("refused", "moved away", "died", "followed"):
            number = item.line.patient.id if item else _patient_id(unit.session, code)
            set_standing(unit, patient_id=number, standing=standing, reason=reason)  # type: ignore[arg-type]
        else:
            raise FollowupError(
                "standing.word",
                say("this can't be said of this patient now"),
                fix=say("choose from the list"),
            )


@router.get("/plans/{plan}/against/{other}")
def compare(
    request: Request, hand: AnyHand, plan_id: Annotated[int, Path(alias="plan")], other: int
) -> Response:
    """What the newer version changes of the older one."""
    new, old, who = two_versions(hand, plan_id, other)
    lines = side_by_side(old.body, new.body, PlanWords(hand.texts, hand.protocol))
    return show(request, "compare.html", who=who, old=old, new=new, lines=lines)


def two_versions(hand: DeskHand, newer: int, older: int) -> tuple[PlanVersion, PlanVersion, PatientView]:
    """Two versions of one patient's plan. Error ``plan.unknown``, also for plans of two patients."""
    with hand.store.read() as session:
        new, old = plan(session, newer), plan(session, older)
        if new.patient_id != old.patient_id:
            raise FollowupError(
                "plan.unknown",
                say("these are plans of two patients"),
                fix=say("choose two versions of one plan"),
            )
        return new, old, patient(session, new.patient_id)


def _mine(session: Session, hand: DeskHand, lines: Iterable[ToReach]) -> list[ToReach]:
    """The overdue patients among them whom I operated on."""
    overdue = [line for line in lines if line.kind == "overdue"]
    me = {folded_name(hand.actor.name), folded_name(hand.actor.login)}
    surgeons = surgeons_of(session, [line.patient.id for line in overdue])
    return [line for line in overdue if me & surgeons.get(line.patient.id, frozenset())]


def _inflamed(session: Session, hand: DeskHand) -> list[Inflamed]:
    records = records_since(session, hand.now - WEEK)
    people = patients_by_id(session, records)
    found = [
        Inflamed(people[number], look, _day(record, look), severity(look))
        for number, record in records.items()
        for look in _last_looks(record, hand)
        if above_expected(hand.protocol, record, look)
    ]
    return sorted(found, key=_place)


def _place(item: Inflamed) -> tuple[float, ...]:
    """Worst first; of two that look alike the one longer after surgery, then the higher pressure."""
    pressure = item.look.pressure if isinstance(item.look.pressure, float) else 0.0
    return (*(-part for part in item.rank), -item.day, -pressure)


def _last_looks(record: Record, hand: DeskHand) -> Iterator[Findings]:
    for eye in ("right", "left"):
        week = [
            look
            for look in record.reviews
            # A look that measured the pressure alone must not hide what was seen the day before.
            if look.eye == eye and hand.today - WEEK < look.date <= hand.today and _looked_for(look)
        ]
        if week:
            yield max(week, key=lambda look: (look.date, look.time or ""))


def _looked_for(look: Findings) -> bool:
    """Whether this look says anything of inflammation."""
    seen = (look.cells, look.flare, look.hypopyon, look.fibrin)
    return any(found not in (None, "not seen") for found in seen)


def severity(look: Findings) -> tuple[int, int, int, int]:
    """Pus, then fibrin, then the grade of cells, then flare: larger is worse; 0.5+ cells alone rank 0."""
    cells = GRADES.index(look.cells) if look.cells in GRADES else 0
    flare = int(look.flare[0]) if look.flare and look.flare[0].isdigit() else 0
    return int(look.hypopyon == "yes"), int(look.fibrin == "yes"), max(0, cells - 1), max(0, flare - 1)


def above_expected(protocol: Protocol, record: Record, look: Findings) -> bool:
    """Whether a look shows more than the protocol expects of such an eye on its day.

    Pus and fibrin always do. Cells are read against the protocol's table, which knows nothing of flare:
    flare counts from 2+ on, as it did.
    """
    rank = severity(look)
    if rank[0] or rank[1] or rank[3]:
        return True
    if look.cells not in GRADES:
        return False
    mine = [one for one in followed_eyes(record, look.date) if one.eye == look.eye]
    uveitic = any(truth("uveitic", apply_rules(one, protocol).facts) is True for one in mine)
    expected = protocol.review.expected_cells(uveitic, _day(record, look))
    return GRADES.index(look.cells) > GRADES.index(expected)


def _day(record: Record, look: Findings) -> int:
    starts = [o.date for o in record.operations if o.eye == look.eye and o.date <= look.date]
    return (look.date - max(starts)).days if starts else 0


def _to_decide(session: Session, hand: DeskHand, code: str) -> ForSurgeon | None:
    lines = worklist(session, hand.now, hand.protocol.recall)
    found = for_surgeon(lines, hand.protocol.recall, hand.today)
    return next((item for item in found if item.line.patient.code.casefold() == code.casefold()), None)


def _patient_id(session: Session, code: str) -> int:
    found = patient_by_code(session, code)
    if found is None:
        raise unknown_patient()
    return found.id
