"""The sweep: notices once, and dates rightly, what has turned late or overdue since the last one.

Safe to run at any time, twice, or by two processes: every transition has a unique key, and what it
is dated with is computed from the visit, never from the clock of the sweep.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice
from zoneinfo import ZoneInfo

from followup.errors import FollowupError
from followup.recall.messages.clock import SWEEP, note_clock
from followup.recall.reach.lateness import VisitDays, became_at
from followup.records.house.clinics import clinic_zone
from followup.records.jobs.upkeep import (
    claim_daily_run,
    daily_outcome,
    finish_daily_run,
    heartbeat,
    note_heartbeat,
    note_transition,
    take_back_transition,
    transitions,
    transitions_ahead,
    transitions_of_open,
)
from followup.records.plans.bound import verify_all
from followup.records.store.store import Session, Store
from followup.records.trips.trips import open_trip_ids, open_trips, trip, trips_with_ids
from followup.records.views import SYSTEM, Heartbeat, Transition, TransitionKind, TripView

JOURNAL_CHECK = "journal check"
AHEAD = timedelta(hours=3)
# So many visits are written down together: one wait for the disk, and nobody at a desk waits long.
BATCH = 50
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
        visits, failed = _readable(session, today)
        known = {(item.trip_id, item.kind, item.became_at) for item in transitions_of_open(session)}
    noticed = 0
    for some in _batches(visit for visit in visits if _may_be_new(visit, known, now, zone)):
        try:
            noticed += _notice(store, some, known, now, zone)
        except Exception as exc:
            if isinstance(exc, FollowupError) and exc.code in _DATABASE:
                raise  # the database itself: the next sweep makes up for it
            # One bad row must not hide the others; it is named below and seen in the health page.
            _log.exception("visits can't be swept together; sweeping one by one")
            done, bad = _one_by_one(store, some, known, now, zone)
            noticed, failed = noticed + done, failed + bad
    _take_back_what_is_ahead(store, now)
    broken = _check_journal(store, now, today)
    message = "; ".join([*(f"visit {number} can't be swept" for number in failed), *broken])
    with store.upkeep(now) as unit:
        note_heartbeat(unit, name=SWEEP, ok=not message, rows=len(visits), message=message)
    return Swept(len(visits), noticed, tuple(failed))


def last_heartbeat(session: Session, name: str = SWEEP) -> Heartbeat | None:
    """When the sweep last ran, and how."""
    return heartbeat(session, name)


def turned(visit: TripView, now: datetime, zone: ZoneInfo) -> Iterator[tuple[TransitionKind, datetime]]:
    """What an open visit has turned by ``now``, with the instant at which each became true."""
    turns = became_at(VisitDays(visit.day, visit.window_end, visit.status), zone)
    if turns.late_at is not None and turns.late_at <= now:
        yield "late", turns.late_at
    if turns.overdue_at is not None and turns.overdue_at <= now:
        yield "overdue", turns.overdue_at


def _readable(session: Session, today: date) -> tuple[tuple[TripView, ...], list[int]]:
    """The open visits up to today, and the ids of those that can't even be read."""
    try:
        return open_trips(session, until=today), []
    except (ValueError, TypeError):
        _log.exception("a visit can't be read; reading one by one")
    visits, failed = [], []
    for number in open_trip_ids(session):
        try:
            visits.append(trip(session, number))
        except (ValueError, TypeError):
            failed.append(number)
    return tuple(visit for visit in visits if visit.day <= today), failed


_Known = set[tuple[int, TransitionKind, datetime]]


def _unnoticed(
    visit: TripView, known: _Known, now: datetime, zone: ZoneInfo
) -> list[tuple[TransitionKind, datetime]]:
    return [turn for turn in turned(visit, now, zone) if (visit.id, *turn) not in known]


def _may_be_new(visit: TripView, known: _Known, now: datetime, zone: ZoneInfo) -> bool:
    """Whether there is something to write down; also where that can't be told, so that it is named."""
    try:
        return bool(_unnoticed(visit, known, now, zone))
    except Exception:
        return True


def _batches(visits: Iterable[TripView]) -> Iterator[list[TripView]]:
    left = iter(visits)
    while some := list(islice(left, BATCH)):
        yield some


def _one_by_one(
    store: Store, visits: list[TripView], known: _Known, now: datetime, zone: ZoneInfo
) -> tuple[int, list[int]]:
    """How many transitions were written, and the ids of the visits that raise an error."""
    written, failed = 0, []
    for visit in visits:
        try:
            written += _notice(store, [visit], known, now, zone)
        except Exception:
            _log.exception("visit %s can't be swept", visit.id)
            failed.append(visit.id)
    return written, failed


def _notice(store: Store, visits: list[TripView], known: _Known, now: datetime, zone: ZoneInfo) -> int:
    """Write down what these visits have turned, in one transaction."""
    written = 0
    with store.write(SYSTEM, now) as unit:
        # Looked at again inside the transaction: they may have taken place since the list was read.
        for visit in trips_with_ids(unit.session, [one.id for one in visits]):
            for kind, instant in _unnoticed(visit, known, now, zone):
                if note_transition(unit, trip_id=visit.id, kind=kind, became_at=instant):
                    written += 1
                    unit.log(
                        f"visit turned {kind}",
                        f"patient:{visit.patient_code}",
                        visit=visit.number,
                        became_at=instant.isoformat(),
                    )
    return written


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
