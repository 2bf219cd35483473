"""Log in, log out, one's own password."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Line, Login, Password
from followup.care.hand import Hand
from followup.care.house.log_in_waits import must_not_wait, note_wrong
from followup.care.house.second_factor import (
    Code,
    CodeNeededError,
    CodeOfLogIn,
    holds,
    right_step,
    ticket_of,
)
from followup.care.new_password import known_texts, stored_password
from followup.care.password_again import must_open
from followup.errors import FollowupError
from followup.language.catalogues import offered
from followup.records.house.staff import (
    change_staff,
    choose_language,
    end_session,
    open_session,
    staff_by_login,
)
from followup.records.views import Staff
from followup.said import say
from followup.typed import typed

LIFETIME = timedelta(hours=12)


class LogIn(Act):
    """The cookie of the answer is the log-in; send it along from then on.

    ``code``: of the second factor, where one is set.
    """

    login: Login
    password: Password
    code: Code = ""


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
    person = _right_person(hand, sent)
    step = None
    if person.second_since is not None:
        if not sent.code:
            raise CodeNeededError(ticket_of(hand, person))
        step = right_step(hand, person, sent.code)
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
            step=step,
        )


def session_by_code(hand: Hand, sent: CodeOfLogIn, *, browser: str = "", instead_of: str = "") -> str:
    """The second step of a log-in: the opaque id of the new session.

    Errors: ``login.ticket``, ``login.code``, ``login.wait``, those of ``open_session``.
    """
    with hand.store.read() as session:
        person = staff_by_login(session, sent.login)
    if person is None or not person.active or not holds(hand, person, sent.ticket):
        raise FollowupError(
            "login.ticket", say("this log-in took too long"), fix=say("type name and password again")
        )
    step = right_step(hand, person, sent.code)
    with hand.store.write(person.actor, hand.now) as unit:
        return open_session(
            unit,
            login=person.login,
            lifetime=LIFETIME,
            checked=person.password_hash,
            origin=hand.origin,
            browser=browser,
            instead_of=instead_of,
            step=step,
        )


def _right_person(hand: Hand, sent: LogIn) -> Staff:
    """Whoever has this name and password and may log in; a wrong one is counted.

    Whoever has to wait is refused before any work. Errors: ``login.refused``, ``wait``, ``busy``.
    """
    must_not_wait(hand, sent.login)
    with hand.store.read() as session:
        person = staff_by_login(session, sent.login)
    stored = person.password_hash if person else None
    right = hand.passwords.matches(stored, sent.password, stranger=True)
    if person is None or not right or not person.active:
        note_wrong(hand, sent.login)
        raise FollowupError(
            "login.refused",
            say("the log-in name or the password is wrong"),
            fix=say("type both again; after several wrong passwords wait a quarter of an hour"),
        )
    return person


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
