"""The door of every route: who is it, and may they? Nothing behind it asks again."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import get_args
from urllib.parse import quote

from fastapi import Request

from followup.care.records.opening import opens
from followup.desks.door.client_address import client_address
from followup.desks.door.hand import Desk, DeskHand, desk_hand, desk_of
from followup.desks.door.origin import is_cross_site
from followup.desks.door.permissions import may
from followup.errors import FollowupError
from followup.records.house.clinics import get_clinic
from followup.records.house.staff import (
    find_session,
    touch_session,
)
from followup.records.people.opening import Named
from followup.records.plans.protocols import protocol_signature
from followup.records.views import LoginSession
from followup.said import say
from followup.typed import typed

IDLE = timedelta(minutes=30)
TOUCH_EVERY = timedelta(minutes=1)
MOST_DIGITS = 9
# The parts of an address that are numbers of ours.
_NUMBERS = ("plan", "other", "trip", "message", "number", "asked")


class LoginNeededError(Exception):
    """Nobody is logged in; ``then`` is where the person wanted to go."""

    def __init__(self, then: str) -> None:
        self.then = then
        super().__init__(then)


def cookie_name(desk: Desk) -> str:
    """Over HTTPS the browser itself guarantees host and path of the cookie (__Host- prefix)."""
    return "__Host-followup" if desk.https else "followup"


def guard(request: Request) -> None:
    """Let the request in, or raise: cross-site, not logged in, or not allowed."""
    hand = look_up(request)
    request.state.hand = hand
    if is_cross_site(request.method, request.headers):
        by_program = request.url.path.startswith("/api/")
        raise FollowupError(
            "request.cross-site",
            say("this request did not come from a page of this clinic"),
            fix=say("send the header Origin with the address of this server")
            if by_program
            else say("open the page here and press the button again"),
        )
    _refuse_strange(request)
    path = request.scope["route"].path
    if may(hand.roles, request.method, path):
        _note_opening(request, hand)
        return
    if hand.login is None:
        raise LoginNeededError(wanted(request))
    raise FollowupError(
        "role.missing",
        say("{staff} may not open this page", staff=typed(hand.login.staff.name)),
        fix=say("ask someone whose work it is, or the manager for the role"),
    )


def _refuse_strange(request: Request) -> None:
    """What no database can look up: a zero byte, or a number that is larger than any it gives out."""
    given = (request.scope["path"], *(part for pair in request.query_params.multi_items() for part in pair))
    if any("\0" in text for text in given):
        raise FollowupError("request.text", say("the address holds a zero byte"), fix=say("type it again"))
    if any(len(request.path_params.get(name, "")) > MOST_DIGITS for name in _NUMBERS):
        raise FollowupError("page.unknown", say("nothing has this number"), fix=say("open it from the list"))


def _note_opening(request: Request, hand: DeskHand) -> None:
    """Whatever names one patient in its address shows, or answers with, something of that patient."""
    if hand.login is None:
        return
    for by in get_args(Named):
        # A query names a patient where a page of many can be had of one alone.
        value = request.path_params.get(by) or (by == "code" and request.query_params.get(by))
        if value:
            opens(hand, hand.desk.opened, by, value)
            return


def look_up(request: Request) -> DeskHand:
    """The clinic, the instant, and the log-in that the cookie names, if it is in force."""
    desk = desk_of(request)
    now = desk.clock()
    token = request.cookies.get(cookie_name(desk), "")
    with desk.store.read() as session:
        clinic = get_clinic(session)
        signature = protocol_signature(session, desk.protocol.hash)
        login = find_session(session, token=token, now=now, idle=IDLE) if token else None
    if login and now - login.last_seen >= TOUCH_EVERY:
        _keep_in_force(desk, token, login, now)
    if login and login.staff.site is not None:
        # From here on the request sees the patients, calendar and telephones of its own site alone.
        desk = replace(desk, store=desk.store.for_site(login.staff.site))
        with desk.store.read() as session:
            clinic = get_clinic(session)
    return desk_hand(desk, clinic, now, login, signature, client_address(request, desk.trusted_proxy))


def _keep_in_force(desk: Desk, token: str, login: LoginSession, now: datetime) -> None:
    """Note that the log-in is used. Where others store something just now a later page does it as well:
    nobody waits for this until half of the time is over after which the log-in ends."""
    patience = 0 if now - login.last_seen < IDLE / 2 else None
    try:
        with desk.store.upkeep(now, patience=patience) as unit:
            touch_session(unit, token=token)
    except FollowupError as exc:
        if exc.code != "store.busy" or patience is None:
            raise


def wanted(request: Request) -> str:
    """Where to go after logging in: the page asked for, or the first page after a write."""
    if request.method != "GET":
        return "/"
    return quote(request.url.path)


def token_of(request: Request) -> str:
    """The opaque id in the cookie."""
    return request.cookies.get(cookie_name(desk_of(request)), "")
