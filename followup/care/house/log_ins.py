"""One's own log-ins: where somebody is logged in, and how to end it from elsewhere."""

from __future__ import annotations

from datetime import timedelta

from followup.care.hand import Hand
from followup.records.house.sessions import end_one_session, end_other_sessions, sessions_of
from followup.records.views import OpenSession


def own_log_ins(hand: Hand, *, idle: timedelta) -> tuple[OpenSession, ...]:
    """Those of whoever acts that are in force and were used within ``idle``, the last used one first."""
    with hand.store.read() as session:
        return sessions_of(session, login=hand.actor.login, now=hand.now, idle=idle)


def end_log_in(hand: Hand, name: str) -> None:
    """End one's own log-in of this name. Error ``session.unknown`` where one has none."""
    with hand.store.write(hand.actor, hand.now) as unit:
        end_one_session(unit, login=hand.actor.login, name=name)
        unit.log("log-in ended", f"staff:{hand.actor.login}")


def end_other_log_ins(hand: Hand) -> None:
    """End all of one's own log-ins but the one that acts."""
    with hand.store.write(hand.actor, hand.now) as unit:
        end_other_sessions(unit, login=hand.actor.login, but=hand.session_id)
        unit.log("other log-ins ended", f"staff:{hand.actor.login}")
