"""Whether this computer's clock can be believed: a message that was sent on a wrong day can't be taken back.

The sweep looks before it does anything else. Where the clock has jumped, or nobody was there for a
day and a half, messages wait until somebody has logged in on the day that the clock shows: the date
stands large on the page of the log-in, and whoever sees it knows whether it is that day.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from followup.recall.reach.lateness import day_begins
from followup.records.house.clinics import clinic_zone
from followup.records.house.staff import logged_in_between
from followup.records.jobs.upkeep import heartbeat, note_heartbeat
from followup.records.store.journal import newest_entry_at
from followup.records.store.store import Session, Store

CLOCK = "clock"
SWEEP = "sweep"
# Longer than a night and the day off before it; shorter than two days.
JUMP = timedelta(hours=36)


def note_clock(store: Store, now: datetime) -> None:
    """Write down whether messages must wait. Before the sweep writes that it ran."""
    with store.read() as session:
        doubt, known = _jumped(session, now), heartbeat(session, CLOCK)
    if not doubt and (known is None or known.ok):
        return
    with store.upkeep(now) as unit:
        said = doubt or (known.message if known else "")
        seen = _somebody_logged_in(unit.session, now)
        note_heartbeat(unit, name=CLOCK, ok=seen, rows=0, message="" if seen else said)


def why_messages_wait(session: Session) -> str:
    """What made the clock doubtful, in words; empty where messages go out."""
    known = heartbeat(session, CLOCK)
    return "" if known is None or known.ok else known.message


def _jumped(session: Session, now: datetime) -> str:
    beat, newest = heartbeat(session, SWEEP), newest_entry_at(session)
    ahead = max((at for at in (beat.at if beat else None, newest) if at is not None), default=now)
    if ahead > now + JUMP:
        return f"what was written last is of {_day(session, ahead)}, and the clock shows {_day(session, now)}"
    # While the program runs its own pulse tells more than the last entry: a quiet clinic is no jump.
    last = beat.at if beat else newest
    if last is not None and last < now - JUMP:
        return f"the last sign of life is of {_day(session, last)}, and the clock shows {_day(session, now)}"
    return ""


def _somebody_logged_in(session: Session, now: datetime) -> bool:
    zone = clinic_zone(session)
    today = now.astimezone(zone).date()
    begins, ends = (day_begins(day, zone) for day in (today, today + timedelta(days=1)))
    return logged_in_between(session, begins, ends)


def _day(session: Session, instant: datetime) -> str:
    return f"{instant.astimezone(clinic_zone(session)):%Y-%m-%d}"
