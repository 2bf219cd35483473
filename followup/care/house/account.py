"""Log in, log out, one's own password."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line, Login, Password
from followup.care.hand import Hand
from followup.care.password_again import must_open
from followup.errors import FollowupError
from followup.language.catalogues import offered
from followup.records.house.staff import (
    change_staff,
    choose_language,
    end_session,
    is_locked,
    note_failed_login,
    open_session,
    staff_by_login,
)
from followup.records.views import SYSTEM, Staff
from followup.said import say
from followup.typed import typed

LIFETIME = timedelta(hours=12)


class LogIn(Act):
    """The cookie of the answer is the log-in; send it along from then on."""

    login: Login
    password: Password


class NewPassword(Act):
    """Every session of the person ends."""

    old: Password
    new: Password


class OwnLanguage(Act):
    """The language of one's own pages: the tag of one in which the pages are."""

    language: Annotated[Line, Field(min_length=1, max_length=20)]


def new_session(hand: Hand, sent: LogIn, *, browser: str = "", instead_of: str = "") -> str:
    """The opaque id of a new session. One refusal for an unknown name and for a wrong password.

    ``browser``: what it calls itself; ``instead_of``: the opaque id that it had before.
    """
    with hand.store.read() as session:
        person = staff_by_login(session, sent.login)
    locked = person is not None and is_locked(person, hand.now)
    right = hand.passwords.matches(person.password_hash if person else None, sent.password)
    if person is None or not right or locked or not person.active:
        if person is not None and not locked:
            with hand.store.write(SYSTEM, hand.now) as unit:
                note_failed_login(unit, login=person.login)
        raise FollowupError(
            "login.refused",
            say("the log-in name or the password is wrong"),
            fix=say("type both again; after several wrong passwords wait a quarter of an hour"),
        )
    with hand.store.write(person.actor, hand.now) as unit:
        return open_session(
            unit,
            login=person.login,
            lifetime=LIFETIME,
            checked=person.password_hash,
            browser=browser,
            instead_of=instead_of,
        )


def close_session(hand: Hand, token: str) -> None:
    """End the session; one that has ended already stays so."""
    with hand.store.upkeep(hand.now) as unit:
        end_session(unit, token=token)


def set_own_password(hand: Hand, sent: NewPassword) -> None:
    """One's own password; every session ends. Errors: ``password.wrong`` and those of the new one."""
    person = must_open(hand, sent.old)
    stored = hand.passwords.hash(sent.new)
    with hand.store.write(hand.actor, hand.now) as unit:
        change_staff(unit, login=person.login, password_hash=stored, seen=person.mark)


def read_in(hand: Hand, sent: OwnLanguage) -> Staff:
    """From now on this person's pages are in the language. Error: ``staff.language``."""
    tags = [spoken.tag for spoken in offered("desk")]
    if sent.language not in tags:
        raise FollowupError(
            "staff.language",
            say("there are no pages in {language}", language=typed(sent.language)),
            where=say("language"),
            fix=say("choose one of {languages}", languages=", ".join(tags)),
        )
    with hand.store.write(hand.actor, hand.now) as unit:
        return choose_language(unit, language=sent.language)
