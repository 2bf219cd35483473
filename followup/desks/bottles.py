"""The pharmacy's desk: bottles to hand out today and this week, against what was counted on the shelf."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from fastapi import APIRouter, Request, Response

from followup.desks.desk import AnyVisit, Visit
from followup.desks.failures import status_of
from followup.desks.pages import go, show
from followup.desks.posted import AForm, Posted, first
from followup.errors import FollowupError
from followup.records.desk_notes import StockCount, bodies_in_force, count_stock, stock
from followup.records.patients import patients_by_id
from followup.records.views import PatientView

router = APIRouter()
WEEK = 7


@dataclass(frozen=True)
class MedicineLine:
    """One medicine's bottles. ``missing``: how many the week needs beyond the last count."""

    medicine: str
    name: str
    today: int
    week: int
    counted: StockCount | None
    typed: str

    @property
    def missing(self) -> int | None:
        return max(0, self.week - self.counted.bottles) if self.counted else None


@dataclass(frozen=True)
class HandOut:
    """One bottle that one person takes home today."""

    who: PatientView
    name: str
    eye: str | None
    number: int


@router.get("/bottles")
def bottles_page(request: Request, visit: AnyVisit) -> Response:
    return _page(request, visit)


@router.post("/bottles")
def count(request: Request, visit: AnyVisit, form: AForm) -> Response:
    """Store what was counted; a medicine whose field is empty keeps its last count."""
    try:
        counts = {name.removeprefix("stock."): _number(form, name) for name in form if _is_count(form, name)}
        store_counts(visit, counts)
    except FollowupError as exc:
        return _page(request, visit, typed=form, error=exc.line, status=status_of(exc))
    return go("/bottles")


def store_counts(visit: Visit, counts: Mapping[str, int]) -> None:
    """Store what was counted on the shelf. Errors: ``stock.none``, ``stock.count``."""
    unknown = [key for key in counts if key not in visit.desk.protocol.formulary]
    if unknown or not counts:
        raise FollowupError(
            "stock.none", "nothing was counted", where="stock", fix="type a count, then store"
        )
    with visit.desk.store.write(visit.actor, visit.now) as unit:
        count_stock(unit, counts=counts)


def _is_count(form: Posted, name: str) -> bool:
    return name.startswith("stock.") and first(form, name) != ""


def _number(form: Posted, name: str) -> int:
    text = first(form, name)
    if not (text.isascii() and text.isdecimal() and len(text) < 8):
        raise FollowupError(
            "stock.count", f"{text[:20]} is no number of bottles", where=name[6:], fix="write digits"
        )
    return int(text)


@dataclass(frozen=True)
class Shelf:
    """What the week up to ``until`` takes by medicine, and what goes out today by person."""

    lines: tuple[MedicineLine, ...]
    out: tuple[HandOut, ...]
    until: date


def shelf(visit: Visit, typed: Posted | None = None) -> Shelf:
    """Bottles of the plans in force against the last counts. ``typed``: counts not stored yet."""
    formulary = visit.desk.protocol.formulary
    end = visit.today + timedelta(days=WEEK - 1)
    today: Counter[str] = Counter()
    week: Counter[str] = Counter()
    out: list[HandOut] = []
    with visit.desk.store.read() as session:
        bodies, counted = bodies_in_force(session), stock(session)
        people = patients_by_id(session, bodies)
    for patient_id, body in bodies.items():
        for bottle in body.supply:
            if not visit.today <= bottle.handed_over <= end:
                continue
            course = body.course(bottle.course)
            week[course.medicine] += 1
            if bottle.handed_over == visit.today:
                today[course.medicine] += 1
                label = formulary[course.medicine].label if course.medicine in formulary else course.medicine
                out.append(HandOut(people[patient_id], label, course.eye, bottle.number))
    lines = tuple(
        MedicineLine(
            key,
            formulary[key].label if key in formulary else key,
            today[key],
            week[key],
            counted.get(key),
            first(typed or {}, f"stock.{key}"),
        )
        for key in sorted({*week, *counted})
    )
    return Shelf(lines, tuple(sorted(out, key=lambda line: (line.who.name.casefold(), line.name))), end)


def _page(
    request: Request,
    visit: Visit,
    *,
    typed: Posted | None = None,
    error: str | None = None,
    status: int = 200,
) -> Response:
    found = shelf(visit, typed)
    return show(
        request,
        "bottles.html",
        status=status,
        lines=found.lines,
        out=found.out,
        until=found.until,
        error=error,
    )
