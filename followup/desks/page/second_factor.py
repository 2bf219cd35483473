"""One's own second factor, on the page "My log-in": set up, confirmed by a first code, taken off."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from markupsafe import Markup

from followup.care.house.second_factor import (
    FirstCode,
    NoSecondFactor,
    SecondFactor,
    begin,
    confirm,
    take_off,
)
from followup.desks.door.hand import AnyHand
from followup.desks.door.statuses import status_of
from followup.desks.page.account import own_page
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, as_typed, first, password_of
from followup.errors import FollowupError
from followup.sheets.paper.qr import passing_picture

router = APIRouter()


@router.post("/password/second-factor")
def set_up(request: Request, hand: AnyHand, form: AForm) -> Response:
    """The key, this once, as a square and as text."""
    try:
        new = begin(hand, as_typed(SecondFactor, password=password_of(form)))
    except FollowupError as exc:
        return own_page(request, hand, error=exc.line, status=status_of(exc))
    # Drawn by us from letters and digits alone.
    picture = Markup(passing_picture(new.address))  # noqa: S704
    return show(request, "second-factor.html", error=None, key=_in_fours(new.key), picture=picture)


@router.post("/password/second-factor/first")
def first_code(request: Request, hand: AnyHand, form: AForm) -> Response:
    """From here on every log-in needs a code."""
    try:
        confirm(hand, as_typed(FirstCode, code=first(form, "code")))
    except FollowupError as exc:
        # The key itself is not shown again: whoever did not scan it begins anew.
        return show(request, "second-factor.html", status=status_of(exc), error=exc.line, key="", picture="")
    return go("/password")


@router.post("/password/second-factor/off")
def off(request: Request, hand: AnyHand, form: AForm) -> Response:
    """The password alone is enough again."""
    try:
        take_off(hand, as_typed(NoSecondFactor, password=password_of(form), code=first(form, "code")))
    except FollowupError as exc:
        return own_page(request, hand, error=exc.line, status=status_of(exc))
    return go("/password")


def _in_fours(key: str) -> str:
    return " ".join(key[at : at + 4] for at in range(0, len(key), 4))
