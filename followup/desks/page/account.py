"""Log in, log out, the first page, and one's own password."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from followup.care.house.account import (
    LIFETIME,
    LogIn,
    NewPassword,
    OwnLanguage,
    close_session,
    new_session,
    read_in,
    set_own_password,
)
from followup.desks.door.guard import cookie_name, token_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.permissions import may
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, as_typed, first, kept_fields, password_of
from followup.errors import FollowupError
from followup.recall.messages.clock import why_messages_wait

router = APIRouter()

FIRST_PAGES = ("/waiting", "/operations", "/today", "/forecast", "/bottles", "/protocol")
Text = Annotated[str, Form()]


@router.get("/log-in")
def log_in_page(request: Request, hand: AnyHand, then: str = "/") -> Response:
    return _log_in_page(request, hand, then=_inside(then))


def _log_in_page(
    request: Request,
    hand: DeskHand,
    *,
    then: str,
    login: str = "",
    error: str | None = None,
    kept: Sequence[tuple[str, str]] = (),
    status: int = 200,
) -> Response:
    """The page, with the date large on it: whoever logs in has seen which day this computer believes in."""
    with hand.store.read() as session:
        waits = bool(why_messages_wait(session))
    return show(
        request, "log-in.html", status=status, error=error, then=then, login=login, kept=kept, waits=waits
    )


@router.post("/log-in")
def log_in(request: Request, hand: AnyHand, form: AForm) -> Response:
    """Log in; a form that was sent after the session had ended is offered again with all that was typed."""
    login, then = first(form, "login"), _inside(first(form, "then") or "/")
    kept = kept_fields(form)
    try:
        token = new_session(hand, as_typed(LogIn, login=login, password=password_of(form)))
    except FollowupError as exc:
        status = status_of(exc)
        return _log_in_page(request, hand, then=then, login=login, error=exc.line, kept=kept, status=status)
    answer = show(request, "send-again.html", then=then, kept=kept) if kept else go(then)
    give_cookie(answer, hand, token)
    return answer


@router.post("/log-out")
def log_out(request: Request, hand: AnyHand) -> RedirectResponse:
    close_session(hand, token_of(request))
    answer = go("/log-in")
    take_cookie(answer, hand)
    return answer


@router.post("/language")
def choose_language(hand: AnyHand, form: AForm) -> RedirectResponse:
    """One's own language, chosen in the strip of any page; back to that page."""
    read_in(hand, as_typed(OwnLanguage, language=first(form, "language")))
    return go(_inside(first(form, "then") or "/"))


@router.get("/")
def first_page(hand: AnyHand) -> RedirectResponse:
    return go(next(url for url in FIRST_PAGES if may(hand.roles, "GET", url)))


@router.get("/password")
def password_page(request: Request) -> Response:
    return show(request, "password.html", error=None)


@router.post("/password")
def change_password(request: Request, hand: AnyHand, old: Text = "", new: Text = "") -> Response:
    try:
        set_own_password(hand, as_typed(NewPassword, old=old, new=new))
    except FollowupError as exc:
        return show(request, "password.html", status=422, error=exc.line)
    return go("/log-in")


def give_cookie(answer: Response, hand: DeskHand, token: str) -> None:
    """The cookie of a session: no script reads it, no other site sends it."""
    answer.set_cookie(
        cookie_name(hand.desk),
        token,
        max_age=int(LIFETIME.total_seconds()),
        httponly=True,
        samesite="strict",
        secure=hand.desk.https,
        path="/",
    )


def take_cookie(answer: Response, hand: DeskHand) -> None:
    """Take the cookie away again."""
    answer.delete_cookie(
        cookie_name(hand.desk), path="/", httponly=True, samesite="strict", secure=hand.desk.https
    )


def _inside(then: str) -> str:
    """A path of this application; anything that could lead elsewhere becomes the first page."""
    if not then.startswith("/") or then.startswith(("//", "/\\")) or any(ord(c) < 33 for c in then):
        return "/"
    return then
