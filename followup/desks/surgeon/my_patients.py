"""The surgeon's overview: inflamed eyes of the week worst first, my overdue patients, plans side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Annotated, TypeVar

from fastapi import APIRouter, Path, Request, Response

from followup.care.looks.overview import Overview, overview
from followup.care.plans.plans import two_versions
from followup.care.reach.standing import Standing, say_standing
from followup.desks.door.hand import AnyHand
from followup.desks.page.effect import PlanWords, side_by_side
from followup.desks.page.pages import go, show
from followup.desks.page.parts import Part, Whole, part
from followup.desks.page.posted import AForm, as_typed, first
from followup.desks.words.texts import Texts
from followup.language.catalogues import N_

router = APIRouter()
T = TypeVar("T")


@dataclass(frozen=True)
class Also:
    """What else stands about somebody who is listed higher up: a state and its word."""

    state: str
    word: str


@router.get("/my-patients")
def my_patients(request: Request, hand: AnyHand, whole: Whole = "") -> Response:
    """Each person once, under what matters most; the rest of it beside the name."""
    found = overview(hand)
    listed = {one.who.id for one in found.danger}

    def others(name: str, lines: Iterable[T], patient: Callable[[T], int]) -> Part[T]:
        """Those of the lines whose patients stand on no list above."""
        kept = [one for one in lines if patient(one) not in listed]
        listed.update(map(patient, kept))
        return part(name, kept, whole)

    # In this order: whoever stands higher up stands nowhere below.
    return show(
        request,
        "my-patients.html",
        danger=found.danger,
        here=others("here", found.here, lambda line: line.who.id),
        left=others("left", found.left, lambda line: line.who.id),
        inflamed=others("inflamed", found.inflamed, lambda one: one.who.id),
        decide=others("decide", found.decide, lambda one: one.line.patient.id),
        mine=others("mine", found.mine, lambda line: line.patient.id),
        also=_also(found, hand.texts),
        error=None,
    )


def _also(found: Overview, texts: Texts) -> dict[int, tuple[Also, ...]]:
    """By patient, everything that puts somebody on one of the lower lists."""
    said: dict[int, dict[Also, None]] = {}
    for one in found.inflamed:
        word = Also("overdue", texts.gettext(N_("more inflamed than expected")))
        said.setdefault(one.who.id, {})[word] = None
    for item in found.decide:
        word = Also("question", texts.gettext(N_("only you can decide")))
        said.setdefault(item.line.patient.id, {})[word] = None
    for line in (*found.mine, *(item.line for item in found.decide)):
        if line.days:
            late = texts.ngettext("overdue %(num)s day", "overdue %(num)s days", line.days)
            word = Also("overdue", late % {"num": line.days})
            said.setdefault(line.patient.id, {})[word] = None
    return {number: tuple(words) for number, words in said.items()}


@router.post("/patients/{code}/standing")
def change_standing(request: Request, hand: AnyHand, code: str, form: AForm) -> Response:
    """The surgeon says that a patient is lost, has refused, or is followed again."""
    given = {name: first(form, name) for name in ("standing", "reason")}
    say_standing(hand, code, as_typed(Standing, **given))
    return go(f"/patients/{code}")


@router.get("/plans/{plan}/against/{other}")
def compare(
    request: Request, hand: AnyHand, plan_id: Annotated[int, Path(alias="plan")], other: int
) -> Response:
    """What the newer version changes of the older one."""
    new, old, who = two_versions(hand, plan_id, other)
    lines = side_by_side(old.body, new.body, PlanWords(hand.texts, hand.protocol))
    return show(request, "compare.html", who=who, old=old, new=new, lines=lines)
