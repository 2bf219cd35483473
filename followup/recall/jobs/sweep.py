"""The sweep: notices once, and dates rightly, what has turned late or overdue since the last one.

Safe to run at any time, twice, or by two processes: every transition has a unique key, and what it
is dated with is computed from the visit, never from the clock of the sweep.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from followup.errors import FollowupError
from followup.recall.messages.clock import SWEEP, note_clock
from followup.recall.reach.lateness import VisitDays, became_at
from followup.records.house.clinics import clinic_zone
from followup.records.jobs.upkeep import (
    Turn,
    claim_daily_run,
    daily_outcome,
    finish_daily_run,
    heartbeat,
    note_heartbeat,
    note_transitions,
    take_back_transition,
    transitions,
    transitions_ahead,
    turns_of,
)
from followup.records.plans.bound import verify_all
from followup.records.store.store import Session, Store
from followup.records.trips.open_visits import OpenVisit, open_visit_ids, open_visits, still_open
from followup.records.trips.trips import trip
from followup.records.views import SYSTEM, Heartbeat, Transition

JOURNAL_CHECK = "journal check"
AHEAD = timedelta(hours=3)
# So many visits are written down together: one wait for the disk, and nobody at a desk waits long.
BATCH = 500
_DATABASE = ("store.busy", "store.full", "store.lost", "store.unreachable")
__all__ = ["JOURNAL_CHECK", "SWEEP", "Swept", "last_heartbeat", "sweep", "transitions_of", "turned"]
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Swept:
    """What one sweep did: visits looked at, transitions newly written, visits that raised an error."""

    looked_at: int
    noticed: int
    failed: tuple[int, ...]


def sweep(store: Store, now: datetime) -> Swept:
    """Write down every transition that is not known yet, check the journal once a day, beat.

    A visit that raises an error is logged and named in the heartbeat; the others go on. First of all it
    looks whether the clock has jumped since the last one.
    """
    note_clock(store, now)
    with store.read() as session:
        zone = clinic_zone(session)
    today = now.astimezone(zone).date()
    looked_at, noticed, failed = 0, 0, list[int]()
    for new, looked in _unnoticed(store, today, failed, lambda visit: turned(visit, now, zone)):
        looked_at += looked
        try:
            noticed += _notice(store, new, now, zone)
        except Exception as exc:
            if isinstance(exc, FollowupError) and exc.code in _DATABASE:
                raise  # the database itself: the next sweep makes up for it
            # One bad row must not hide the others; it is named below and seen in the health page.
            _log.exception("visits can't be swept together; sweeping one by one")
            noticed += _one_by_one(store, new, now, zone, failed)
    _take_back_what_is_ahead(store, now)
    broken = _check_journal(store, now, today)
    message = "; ".join([*(f"visit {number} can't be swept" for number in failed), *broken])
    with store.upkeep(now) as unit:
        note_heartbeat(unit, name=SWEEP, ok=not message, rows=looked_at, message=message)
    return Swept(looked_at, noticed, tuple(failed))


def last_heartbeat(session: Session, name: str = SWEEP) -> Heartbeat | None:
    """When the sweep last ran, and how."""
    return heartbeat(session, name)


def turned(visit: OpenVisit, now: datetime, zone: ZoneInfo) -> set[Turn]:
    """What an open visit has turned by ``now``, with the instant at which each became true."""
    turns = became_at(VisitDays(visit.day, visit.window_end, visit.status), zone)
    found: set[Turn] = set()
    if turns.late_at is not None and turns.late_at <= now:
        found.add((visit.id, "late", turns.late_at))
    if turns.overdue_at is not None and turns.overdue_at <= now:
        found.add((visit.id, "overdue", turns.overdue_at))
    return found


def _unnoticed(
    store: Store, today: date, failed: list[int], turns: Callable[[OpenVisit], set[Turn]]
) -> Iterator[tuple[list[int], int]]:
    """The visits of which something is to be written down, and of how many; ``failed`` gets the unreadable.

    Some at a time, all of them as they were at one instant: what is written down meanwhile is not seen here.
    """
    with store.read() as session:
        for some in _open(session, today, failed):
            known = turns_of(session, [visit.id for visit in some])
            yield [visit.id for visit in some if turns(visit) - known], len(some)


def _open(session: Session, today: date, failed: list[int]) -> Iterator[list[OpenVisit]]:
    """The open visits up to today. Where one can't be read, each by itself."""
    try:
        yield from open_visits(session, today, at_once=BATCH)
    except (ValueError, TypeError):
        _log.exception("a visit can't be read; reading one by one")
        for number in open_visit_ids(session, today):
            try:
                yield still_open(session, [number])
            except (ValueError, TypeError):
                failed.append(number)


def _one_by_one(store: Store, visits: list[int], now: datetime, zone: ZoneInfo, failed: list[int]) -> int:
    """How many transitions were written; ``failed`` gets the visits that raise an error."""
    written = 0
    for visit in visits:
        try:
            written += _notice(store, [visit], now, zone)
        except Exception:
            _log.exception("visit %s can't be swept", visit)
            failed.append(visit)
    return written


def _notice(store: Store, visits: list[int], now: datetime, zone: ZoneInfo) -> int:
    """Write down what these visits have turned, in one transaction."""
    if not visits:
        return 0
    with store.write(SYSTEM, now) as unit:
        # Looked at again inside the transaction: they may have taken place since the list was read.
        still = still_open(unit.session, visits)
        turns = {visit: turned(visit, now, zone) for visit in still}
        new = note_transitions(unit, set().union(*turns.values()))
        for visit, mine in turns.items():
            for _, kind, instant in sorted(new & mine):
                unit.log(
                    f"visit turned {kind}",
                    f"patient:{visit.patient_code}",
                    visit=visit.number,
                    became_at=instant.isoformat(),
                )
    return len(new)


def _take_back_what_is_ahead(store: Store, now: datetime) -> None:
    """A clock that ran ahead by days wrote transitions that have not become true: they are taken back.

    An hour or two is let be: that is what a change of the clocks makes, and it corrects itself.
    """
    with store.read() as session:
        ahead = transitions_ahead(session, now + AHEAD)
    for transition in ahead:
        with store.write(SYSTEM, now) as unit:
            visit = trip(unit.session, transition.trip_id)
            if take_back_transition(unit, transition):
                unit.log(
                    f"{transition.kind} taken back, the clock ran ahead",
                    f"patient:{visit.patient_code}",
                    visit=visit.number,
                    became_at=transition.became_at.isoformat(),
                )


def _check_journal(store: Store, now: datetime, today: date) -> list[str]:
    """Once a local day: is the journal whole? The answer stays on every heartbeat of that day."""
    with store.upkeep(now) as unit:
        mine = claim_daily_run(unit, job=JOURNAL_CHECK, day=today)
    with store.read() as session:
        if not mine:
            return _known_outcome(session, today)
        try:
            outcome = f"whole, {verify_all(session).journal.entries} entries"
            broken: list[str] = []
        except FollowupError as error:
            outcome = error.line
            broken = [outcome]
            _log.error("%s", outcome)
    with store.upkeep(now) as unit:
        finish_daily_run(unit, job=JOURNAL_CHECK, day=today, outcome=outcome)
    return broken


def _known_outcome(session: Session, today: date) -> list[str]:
    outcome = daily_outcome(session, job=JOURNAL_CHECK, day=today) or ""
    return [outcome] if outcome and not outcome.startswith("whole") else []


def transitions_of(session: Session, trip_id: int) -> tuple[Transition, ...]:
    """What a visit has turned, oldest first."""
    return transitions(session, trip_id=trip_id)
