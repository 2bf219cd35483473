"""Log in, log out, the first page, and one's own password."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

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
    session_by_code,
    set_own_password,
)
from followup.care.house.log_ins import end_log_in, end_other_log_ins, own_log_ins
from followup.care.house.second_factor import CodeNeededError, CodeOfLogIn
from followup.desks.door.browser import browser_words
from followup.desks.door.guard import IDLE, cookie_name, token_of
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import first_page_of, go, show
from followup.desks.page.posted import AForm, as_typed, first, kept_fields, password_of
from followup.errors import FollowupError
from followup.recall.messages.clock import why_messages_wait
from followup.records.house.staff import staff_by_login

router = APIRouter()

Text = Annotated[str, Form()]
Kept = Sequence[tuple[str, str]]


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
    kept: Kept = (),
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
        sent = as_typed(LogIn, login=login, password=password_of(form))
        token = new_session(hand, sent, browser=browser_of(request), instead_of=token_of(request))
    except CodeNeededError as exc:
        return _code_page(request, then=then, login=login, ticket=exc.ticket, kept=kept)
    except FollowupError as exc:
        status = status_of(exc)
        return _log_in_page(request, hand, then=then, login=login, error=exc.line, kept=kept, status=status)
    return _let_in(request, hand, token, login=login, then=then, kept=kept)


@router.post("/log-in/code")
def log_in_by_code(request: Request, hand: AnyHand, form: AForm) -> Response:
    """The second step of a log-in; only a right password leads here."""
    login, then = first(form, "login"), _inside(first(form, "then") or "/")
    ticket, kept = first(form, "ticket"), kept_fields(form)
    try:
        sent = as_typed(CodeOfLogIn, login=login, ticket=ticket, code=first(form, "code"))
        token = session_by_code(hand, sent, browser=browser_of(request), instead_of=token_of(request))
    except FollowupError as exc:
        told: dict[str, Any] = {
            "then": then,
            "login": login,
            "error": exc.line,
            "kept": kept,
            "status": status_of(exc),
        }
        if exc.code == "login.ticket":
            return _log_in_page(request, hand, **told)
        return _code_page(request, ticket=ticket, **told)
    return _let_in(request, hand, token, login=login, then=then, kept=kept)


def _code_page(
    request: Request,
    *,
    then: str,
    login: str,
    ticket: str,
    kept: Kept,
    error: str | None = None,
    status: int = 200,
) -> Response:
    """Ask for the code; shown after a right password alone, so that it tells strangers of no name."""
    page = "log-in-code.html"
    return show(request, page, status=status, error=error, then=then, login=login, ticket=ticket, kept=kept)


def _let_in(request: Request, hand: DeskHand, token: str, *, login: str, then: str, kept: Kept) -> Response:
    """Where somebody wanted to go, with the cookie; first to the own password where another one set it."""
    with hand.store.read() as session:
        person = staff_by_login(session, login)
    if person is not None and not person.password_own and not kept:
        then = "/password"
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
    return go(first_page_of(hand.roles))


@router.get("/password")
def password_page(request: Request, hand: AnyHand) -> Response:
    return own_page(request, hand)


@router.post("/password")
def change_password(request: Request, hand: AnyHand, old: Text = "", new: Text = "") -> Response:
    try:
        set_own_password(hand, as_typed(NewPassword, old=old, new=new))
    except FollowupError as exc:
        return own_page(request, hand, error=exc.line, status=422)
    return go("/log-in")


@router.post("/sessions/{session}/end")
def end_one(hand: AnyHand, session: str) -> RedirectResponse:
    """End one of one's own log-ins, from here."""
    end_log_in(hand, session)
    return go("/password")


@router.post("/sessions/end-others")
def end_others(hand: AnyHand) -> RedirectResponse:
    """End all of one's own log-ins but this one."""
    end_other_log_ins(hand)
    return go("/password")


def own_page(request: Request, hand: DeskHand, *, error: str | None = None, status: int = 200) -> Response:
    """One's own password, and where one is logged in."""
    sessions = own_log_ins(hand, idle=IDLE)
    return show(request, "password.html", status=status, error=error, sessions=sessions, here=hand.session_id)


def browser_of(request: Request) -> str:
    """What the browser or program calls itself, in a few words."""
    return browser_words(request.headers.get("user-agent", ""))


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
