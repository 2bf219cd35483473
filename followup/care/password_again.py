"""Whoever decides something grave gives the password again."""

from __future__ import annotations

from followup.care.hand import Hand
from followup.errors import FollowupError
from followup.records.house.sessions import note_right_password, note_wrong_password
from followup.records.house.staff import staff_by_login
from followup.records.views import Staff
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

    Wrong ones are counted by this log-in alone, which they end: no stranger's wrong log-ins keep anybody
    from signing, and no wrong signature keeps anybody from logging in. Error ``password.wrong``.
    """
    with hand.store.read() as session:
        person = staff_by_login(session, hand.actor.login)
    right = hand.passwords.matches(person.password_hash if person else None, password)
    with hand.store.upkeep(hand.now) as unit:
        note = note_right_password if right else note_wrong_password
        goes_on = note(unit, session_id=hand.session_id)
    if person is not None and right and goes_on:
        return person
    raise FollowupError(
        "password.wrong",
        say("this is not your password; nothing was stored"),
        where=say("password"),
        fix=say("type it again; after five wrong ones you are logged out")
        if goes_on
        else say("log in again: the password was wrong too often"),
    )
