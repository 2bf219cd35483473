"""Log in, log out, one's own password."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line, Login, Password
from followup.care.hand import Hand
from followup.care.new_password import known_texts, stored_password
from followup.care.password_again import must_open
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.language.catalogues import offered
from followup.records.house.staff import (
    change_staff,
    choose_language,
    end_session,
    open_session,
    staff_by_login,
)
from followup.records.house.wrong_logins import note_wrong_login, seconds_to_wait
from followup.records.views import Staff
from followup.said import Said, say
from followup.typed import typed

LIFETIME = timedelta(hours=12)
LONGEST_IN_SECONDS = 90


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

    ``browser``: what it calls itself; ``instead_of``: the opaque id that it had before. Errors:
    ``login.refused``, ``login.wait``, ``login.busy``, those of ``open_session``.
    """
    person = right_person(hand, sent)
    rehashed = hand.passwords.rehashed(person.password_hash, sent.password)
    with hand.store.write(person.actor, hand.now) as unit:
        return open_session(
            unit,
            login=person.login,
            lifetime=LIFETIME,
            checked=person.password_hash,
            rehashed=rehashed,
            origin=hand.origin,
            browser=browser,
            instead_of=instead_of,
        )


def right_person(hand: Hand, sent: LogIn) -> Staff:
    """Whoever has this name and password and may log in; a wrong one is counted.

    Whoever has to wait is refused before any work. Errors: ``login.refused``, ``wait``, ``busy``.
    """
    with hand.store.read() as session:
        wait = seconds_to_wait(session, login=sent.login, origin=hand.origin, now=hand.now)
        person = staff_by_login(session, sent.login)
    if wait:
        raise FollowupError(
            "login.wait",
            say("too many wrong log-ins from here"),
            fix=say("wait {how_long}, then try again", how_long=_how_long(wait)),
        )
    stored = person.password_hash if person else None
    right = hand.passwords.matches(stored, sent.password, stranger=True)
    if person is None or not right or not person.active:
        with hand.store.upkeep(hand.now) as unit:
            note_wrong_login(unit, login=sent.login, origin=hand.origin)
        raise FollowupError(
            "login.refused",
            say("the log-in name or the password is wrong"),
            fix=say("type both again; after several wrong passwords wait a quarter of an hour"),
        )
    return person


def _how_long(seconds: int) -> Said:
    if seconds <= LONGEST_IN_SECONDS:
        return counted(seconds, "second", "seconds")
    return counted(-(-seconds // 60), "minute", "minutes")


def close_session(hand: Hand, token: str) -> None:
    """End the session; one that has ended already stays so."""
    with hand.store.upkeep(hand.now) as unit:
        end_session(unit, token=token)


def set_own_password(hand: Hand, sent: NewPassword) -> None:
    """One's own password; every session ends. Errors: ``password.wrong`` and those of ``stored_password``."""
    person = must_open(hand, sent.old)
    known = known_texts(hand.clinic, person.login, person.name)
    stored = stored_password(hand.passwords, sent.new, known=known)
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
