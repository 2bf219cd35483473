"""The manager's page of patients who ask to be erased: what goes and what is kept, then the password."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from followup.care.house.erasing import EraseAct, asked, erase, erasing_of, in_words
from followup.care.records.opening import opens, who_opened
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, as_typed, first, password_of
from followup.errors import FollowupError
from followup.records.desk.erasing import Erasing

router = APIRouter()


@router.get("/erase")
def erase_page(request: Request, hand: AnyHand) -> Response:
    return _page(request, hand)


@router.post("/erase")
def look_or_erase(request: Request, hand: AnyHand, form: AForm) -> Response:
    """With a code alone: what would go. With the password too: it goes."""
    code = first(form, "code")
    try:
        opens(hand, hand.desk.opened, "code", code)
        found = erasing_of(hand, code)
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc), code=code)
    if "password" not in form:
        return _page(request, hand, found=found, code=code)
    try:
        erase(hand, code, as_typed(EraseAct, password=password_of(form)))
    except FollowupError as exc:
        return _page(request, hand, error=exc.line, status=status_of(exc), found=found, code=code)
    return go("/erase")


def _page(
    request: Request,
    hand: DeskHand,
    *,
    found: Erasing | None = None,
    error: str | None = None,
    status: int = 200,
    code: str = "",
) -> Response:
    return show(
        request,
        "erase.html",
        status=status,
        found=found,
        says=in_words(found, hand.today) if found else (),
        opened=who_opened(hand, found.code) if found else (),
        asked=asked(hand),
        error=error,
        code=code,
    )
