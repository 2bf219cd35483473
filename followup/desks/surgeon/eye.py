"""An eye's page: its time line, what was seen, what is due, and the findings of today in one row."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from markupsafe import Markup

from followup.care.act import OneEye
from followup.care.fields import values as flat
from followup.care.fields.checked import RecordError
from followup.care.fields.shape import RECORD, Field, Group
from followup.care.looks.eye_case import EyeCase, eye_case
from followup.care.looks.looks import Looked, look_of_today, store_findings, with_look
from followup.care.plans.plan_view import view_of
from followup.care.trips.went import as_it_went
from followup.clinical.careplan import Course
from followup.clinical.protocol.formulary import label_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.forms.sheet import FormView
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, first, number_of
from followup.desks.surgeon.plans import drawn_table
from followup.drawings.timeline_svg import timeline_svg, timeline_table
from followup.drawings.timeline_words import TimelineWords
from followup.errors import FollowupError

router = APIRouter()
_GIVEN = ("eye", "date", "by")
# In the order in which an eye is looked at, all in one row; the rest folds away.
ROW = (
    *("vision", "pressure", "cells", "flare", "cornea", "chamber", "leak", "pain"),
    *("redness_growing", "vision_falling", "hypopyon", "drops_taken"),
)


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
        look = look_of_today(hand, with_look(hand, case.record, eye, typed[0]), eye)
        store_findings(hand, case, Looked(seen=number_of(first(form, "seen")), look=look))
    except FollowupError as exc:
        return _page(request, hand, case, _again(form, exc), error=exc.line, status=status_of(exc))
    return go(f"/patients/{case.who.code}/eyes/{eye}/looks/{hand.today}")


def _again(form: Posted, exc: FollowupError) -> FormView:
    """The row as it was typed. Problems carry the look's place in the record; on the page it is 0."""
    problems = exc.problems if isinstance(exc, RecordError) else {}
    named = {f"reviews.0.{name.split('.')[-1]}": text for name, text in problems.items()}
    return FormView(form, named)


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
    signed, drawn, view, table = case.signed, None, None, None
    if case.in_force:
        with hand.store.read() as session:
            view = view_of(session, hand, case.in_force)
            table = drawn_table(session, hand, case.in_force)
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
        view=view,
        table=table,
        due=next((line for line in case.lines if line.open or line.stands == "here"), None),
        medicine=lambda course: label_of(course.medicine, hand.protocol.formulary),
        error=error,
    )
