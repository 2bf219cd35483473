"""An eye's page: its time line, what was seen, what is due, and the findings of today in one row."""

from __future__ import annotations

from datetime import timedelta

from fastapi import APIRouter, Request, Response
from markupsafe import Markup

from followup.care.act import OneEye
from followup.care.fields import values as flat
from followup.care.fields.shape import RECORD
from followup.care.looks.eye_case import EyeCase, eye_case
from followup.care.looks.eye_now import EyeNow, eye_now
from followup.care.looks.looks import Looked, look_of_today, store_findings, with_look
from followup.care.plans.plan_view import view_of
from followup.care.trips.went import as_it_went
from followup.clinical.careplan import Course
from followup.clinical.protocol.formulary import label_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.forms.sheet import FormView
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, first, number_of
from followup.desks.surgeon.at_a_glance import eye_at_a_glance
from followup.desks.surgeon.findings_row import again, findings_row, with_none_of_them
from followup.desks.surgeon.looks import still_asked
from followup.desks.surgeon.plans import drawn_table
from followup.drawings.timeline import Known, build_timeline
from followup.drawings.timeline_layout import HALF, NARROW
from followup.drawings.timeline_svg import timeline_svg, timeline_table
from followup.drawings.timeline_words import TimelineWords
from followup.errors import FollowupError

router = APIRouter()
# How far ahead of today the chart goes; the whole course is a link.
_AHEAD = timedelta(days=14)


@router.get("/patients/{code}/eyes/{eye}")
def eye_page(request: Request, hand: AnyHand, code: str, eye: OneEye, course: str = "") -> Response:
    """The page of an eye; ``course`` is "whole" for a chart that goes beyond the next two weeks."""
    case = eye_case(hand, code, eye)
    today = next((look for look in case.looks if look.date == hand.today), None)
    data = {"reviews": [today.model_dump(mode="json", exclude_none=True)]} if today else {}
    return _page(request, hand, case, FormView(flat.flatten(RECORD, data)), whole=course == "whole")


@router.post("/patients/{code}/eyes/{eye}/findings")
def enter_findings(request: Request, hand: AnyHand, code: str, eye: OneEye, form: AForm) -> Response:
    """Store what was seen today; a second row of the same day corrects the first.

    What the page of the look still asked for is stored beside what was seen.
    """
    case = eye_case(hand, code, eye)
    typed, beside = flat.unflatten(RECORD, with_none_of_them(form)).get("reviews") or [{}], "beside" in form
    try:
        look = look_of_today(hand, with_look(hand, case.record, eye, typed[0], beside=beside), eye)
        store_findings(hand, case, Looked(seen=number_of(first(form, "seen")), look=look))
    except FollowupError as exc:
        if beside and any(look.date == hand.today for look in case.looks):
            return still_asked(request, hand, case, form, exc)
        typed_again = again(form, exc)
        error = None if typed_again.problems else exc.line
        return _page(request, hand, case, typed_again, error=error, status=status_of(exc))
    return go(f"/patients/{case.who.code}/eyes/{eye}/looks/{hand.today}")


def _drawn(hand: DeskHand, case: EyeCase, now: EyeNow, *, whole: bool) -> tuple[Markup, Markup, Markup]:
    """The time line as a picture for a wide and for a narrow window, and as a table."""
    texts = hand.texts
    words = TimelineWords(texts.gettext, texts.day, texts.runs_left, texts.short_day)
    signed = (*case.signed[:-1], as_it_went(case.signed[-1], case.trips, hand))
    known = Known(
        expected=now.expected,
        before=now.before,
        decided=tuple(entry.at.astimezone(hand.zone).date() for entry in case.decided),
        until=None if whole else hand.today + _AHEAD,
    )

    def name(course: Course) -> str:
        return texts.apart(label_of(course.medicine, hand.protocol.formulary))

    # All come escaped from the drawing's own maker.
    line = build_timeline(signed, case.record, case.eye, hand.today, name=name, known=known)
    wide, narrow = (timeline_svg(line, words, width=width, titled=False) for width in (HALF, NARROW))
    return Markup(wide), Markup(narrow), Markup(timeline_table(line, words))  # noqa: S704


def _page(
    request: Request,
    hand: DeskHand,
    case: EyeCase,
    form: FormView,
    *,
    whole: bool = False,
    error: str | None = None,
    status: int = 200,
) -> Response:
    now = eye_now(hand, case)
    signed, drawn, view, table = case.signed, None, None, None
    if case.in_force:
        with hand.store.read() as session:
            view = view_of(session, hand, case.in_force)
            table = drawn_table(session, hand, case.in_force)
    if signed and any(day <= hand.today for day in case.operated):
        drawn = _drawn(hand, case, now, whole=whole)
    return show(
        request,
        "eye.html",
        status=status,
        case=case,
        who=case.who,
        form=form,
        row=findings_row(now.asked, now.fitting),
        now=now,
        glance=eye_at_a_glance(case.record, hand.protocol, case.eye, hand.texts),
        whole=whole,
        drawn=drawn,
        view=view,
        table=table,
        due=next((line for line in case.lines if line.open or line.stands == "here"), None),
        medicine=lambda course: label_of(course.medicine, hand.protocol.formulary),
        error=error,
    )
