"""Who must wait before the next log-in, told in words."""

from __future__ import annotations

from followup.care.hand import Hand
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.records.house.wrong_logins import note_wrong_login, seconds_to_wait
from followup.said import Said, say

LONGEST_IN_SECONDS = 90


def must_not_wait(hand: Hand, login: str) -> None:
    """Refuse before any work whoever was wrong too often with this name from there. Error ``login.wait``."""
    with hand.store.read() as session:
        wait = seconds_to_wait(session, login=login, origin=hand.origin, now=hand.now)
    if wait:
        raise FollowupError(
            "login.wait",
            say("too many wrong log-ins from here"),
            fix=say("wait {how_long}, then try again", how_long=_how_long(wait)),
        )


def note_wrong(hand: Hand, login: str) -> None:
    """Count a wrong log-in with this name from where the request comes from."""
    with hand.store.upkeep(hand.now) as unit:
        note_wrong_login(unit, login=login, origin=hand.origin)


def _how_long(seconds: int) -> Said:
    if seconds <= LONGEST_IN_SECONDS:
        return counted(seconds, "second", "seconds")
    return counted(-(-seconds // 60), "minute", "minutes")
