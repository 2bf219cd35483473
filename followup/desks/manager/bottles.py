"""The pharmacy's desk: bottles to hand out today and this week, against what was counted on the shelf."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from fastapi import APIRouter, Request, Response

from followup.care.house import Counts, store_counts
from followup.clinical.careplan import Step
from followup.clinical.protocol.formulary import label_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, as_typed, first
from followup.errors import FollowupError
from followup.recall.jobs.pharmacy import BottleToHandOut as AHandOut
from followup.recall.jobs.pharmacy import hand_outs
from followup.records.plans.desk_notes import StockCount, stock
from followup.records.views import PatientView
from followup.said import say
from followup.typed import typed

router = APIRouter()
WEEK = 7


@dataclass(frozen=True)
class MedicineLine:
    """One medicine's bottles. ``gone``: handed out by the plans since the last count.

    ``missing``: how many the week needs beyond what is left of it.
    """

    medicine: str
    name: str
    today: int
    week: int
    counted: StockCount | None
    gone: int
    typed: str

    @property
    def missing(self) -> int | None:
        return None if self.left is None else max(0, self.week - self.left)

    @property
    def left(self) -> int | None:
        """What should stand on the shelf this morning; None where nobody counted."""
        return max(0, self.counted.bottles - self.gone) if self.counted else None


@dataclass(frozen=True)
class HandOutLine:
    """One bottle that one person takes home today, or so many ``tablets`` for the dose of ``step``."""

    who: PatientView
    name: str
    eye: str | None
    number: int
    tablets: str = ""
    step: Step | None = None


@router.get("/bottles")
def bottles_page(request: Request, hand: AnyHand) -> Response:
    return _page(request, hand)


@router.post("/bottles")
def count(request: Request, hand: AnyHand, form: AForm) -> Response:
    """Store what was counted; a medicine whose field is empty keeps its last count."""
    try:
        counts = {name.removeprefix("stock."): _number(form, name) for name in form if _is_count(form, name)}
        store_counts(hand, as_typed(Counts, counts=counts))
    except FollowupError as exc:
        return _page(request, hand, typed=form, error=exc.line, status=status_of(exc))
    return go("/bottles")


def _is_count(form: Posted, name: str) -> bool:
    return name.startswith("stock.") and first(form, name) != ""


def _number(form: Posted, name: str) -> int:
    text = first(form, name)
    if not (text.isascii() and text.isdecimal() and len(text) < 8):
        raise FollowupError(
            "stock.count",
            say("{text} is no number of bottles", text=typed(text[:20])),
            where=name[6:],
            fix=say("write digits"),
        )
    return int(text)


@dataclass(frozen=True)
class Shelf:
    """What the week up to ``until`` takes by medicine, and what goes out today by person."""

    lines: tuple[MedicineLine, ...]
    out: tuple[HandOutLine, ...]
    until: date


def shelf(hand: DeskHand, typed: Posted | None = None) -> Shelf:
    """Bottles of the plans in force against the last counts. ``typed``: counts not stored yet."""
    formulary = hand.protocol.formulary
    end = hand.today + timedelta(days=WEEK - 1)
    with hand.store.read() as session:
        counted = stock(session)
        since = min([hand.today, *(_day(hand, one) for one in counted.values())])
        given = hand_outs(session, since, end)
    ahead = [one for one in given if one.bottle.handed_over >= hand.today]
    now = [one for one in ahead if one.bottle.handed_over == hand.today]
    week, today = _amounts(ahead), _amounts(now)
    lines = tuple(
        MedicineLine(
            key,
            label_of(key, formulary),
            today[key],
            week[key],
            counted.get(key),
            _gone_since(hand, key, counted.get(key), given),
            first(typed or {}, f"stock.{key}"),
        )
        for key in sorted({*week, *counted}, key=lambda key: label_of(key, formulary).casefold())
    )
    out = (
        HandOutLine(
            one.patient,
            label_of(one.course.medicine, formulary),
            one.course.eye,
            one.bottle.number,
            one.bottle.figure if one.bottle.units else "",
            _step(one),
        )
        for one in now
    )
    return Shelf(lines, tuple(out), end)


def _amounts(given: Iterable[AHandOut]) -> Mapping[str, int]:
    """Bottles, and tablets in whole ones, by medicine."""
    found: Counter[str] = Counter()
    for one in given:
        found[one.course.medicine] += ceil(one.amount)
    return found


def _step(one: AHandOut) -> Step | None:
    """What is taken on the first day that the tablets are for."""
    steps = one.course.steps if one.bottle.units and one.course.eye is None else ()
    return next((step for step in steps if step.start <= one.bottle.opened <= step.end), None)


def _day(hand: DeskHand, count: StockCount) -> date:
    return count.at.astimezone(hand.zone).date()


def _gone_since(hand: DeskHand, medicine: str, count: StockCount | None, given: Iterable[AHandOut]) -> int:
    """Bottles that the plans gave out from the day of the count up to yesterday.

    Whether that day's own were still on the shelf is not known: they count as gone, so that no
    shortage is hidden.
    """
    if count is None:
        return 0
    start = _day(hand, count)
    gone = (one for one in given if one.course.medicine == medicine)
    return sum(ceil(one.amount) for one in gone if start <= one.bottle.handed_over < hand.today)


def _page(
    request: Request,
    hand: DeskHand,
    *,
    typed: Posted | None = None,
    error: str | None = None,
    status: int = 200,
) -> Response:
    found = shelf(hand, typed)
    return show(
        request,
        "bottles.html",
        status=status,
        lines=found.lines,
        out=found.out,
        until=found.until,
        error=error,
    )
