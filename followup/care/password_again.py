"""Whoever decides something grave gives the password again."""

from __future__ import annotations

from followup.care.hand import Hand
from followup.errors import FollowupError
from followup.records.house.staff import (
    is_locked,
    note_failed_login,
    staff_by_login,
)
from followup.records.views import SYSTEM, Staff
from followup.said import say


def must_match(hand: Hand, password: str) -> Staff:
    """The person who is logged in, by the password that this person chose.

    Errors: ``password.wrong``, ``password.own`` where somebody else set it: that one opens the pages, and
    stands for nobody's word.
    """
    person = must_open(hand, password)
    must_be_own(person)
    return person


def must_be_own(person: Staff) -> None:
    """Error ``password.own`` where somebody else set the person's password."""
    if not person.password_own:
        raise FollowupError(
            "password.own",
            say("somebody else set this password for you; nothing was stored"),
            where=say("password"),
            fix=say("choose one of your own first, on the page My log-in"),
        )


def must_open(hand: Hand, password: str) -> Staff:
    """The person who is logged in. Refuse, unless ``password`` is that of the person who is logged in.

    Wrong ones are counted together with wrong log-ins, so that a signature can't be guessed either.
    """
    login = hand.actor.login
    with hand.store.read() as session:
        person = staff_by_login(session, login)
    locked = person is not None and is_locked(person, hand.now)
    right = hand.passwords.matches(person.password_hash if person else None, password)
    if person is not None and right and not locked:
        return person
    if not locked:
        with hand.store.write(SYSTEM, hand.now) as unit:
            note_failed_login(unit, login=login)
    raise FollowupError(
        "password.wrong",
        say("this is not your password, or it was wrong too often; nothing was stored"),
        where=say("password"),
        fix=say("type it again; after several wrong ones wait a quarter of an hour"),
    )
