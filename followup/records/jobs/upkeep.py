"""What the recurring jobs write about themselves: heartbeat, lease, daily runs; and transitions."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import UTC, date, datetime, timedelta

from sqlalchemy import ColumnElement, CursorResult
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, delete, or_, select, update

from followup.records.store.store import Unit, insert_new, insert_once
from followup.records.tables import DailyRunRow, HeartbeatRow, LeaseRow, TripTransitionRow
from followup.records.views import DailyRun, Heartbeat, Transition, TransitionKind

Turn = tuple[int, TransitionKind, datetime]
"""The visit, what it turned, and when that became true."""
_TURN = ("trip_id", "kind", "became_at")


def note_heartbeat(unit: Unit, *, name: str, ok: bool, rows: int, message: str = "") -> None:
    """The job ``name`` ran now."""
    beat = {"at": unit.now, "ok": ok, "rows": rows, "message": message}
    if not insert_once(unit.session, HeartbeatRow, name=name, **beat):
        unit.session.execute(update(HeartbeatRow).where(col(HeartbeatRow.name) == name).values(**beat))


def heartbeat(session: Session, name: str) -> Heartbeat | None:
    """The last sign of life of the job; None if it never ran."""
    row = session.get(HeartbeatRow, name)
    return Heartbeat(row.name, row.at, row.ok, row.rows, row.message) if row else None


def take_lease(unit: Unit, *, name: str, owner: str, lifetime: timedelta) -> bool:
    """Whether ``owner`` may run the job from now on for ``lifetime``; renews its own lease."""
    insert_once(unit.session, LeaseRow, name=name, owner=owner, expires_at=unit.now)
    result = unit.session.execute(
        update(LeaseRow)
        .where(
            col(LeaseRow.name) == name,
            or_(
                col(LeaseRow.owner) == owner,
                col(LeaseRow.expires_at) <= unit.now,
                # No living owner can have taken it so far ahead: the clock was set back since.
                col(LeaseRow.expires_at) > unit.now + 2 * lifetime,
            ),
        )
        .values(owner=owner, expires_at=unit.now + lifetime)
    )
    assert isinstance(result, CursorResult)
    return result.rowcount == 1


def lease(session: Session, name: str) -> tuple[str, datetime] | None:
    """Who holds the lease until when; None if it was never taken."""
    row = session.get(LeaseRow, name)
    return (row.owner, row.expires_at) if row else None


def release_lease(unit: Unit, *, name: str, owner: str) -> None:
    """Let another process take over at once."""
    unit.session.execute(
        update(LeaseRow)
        .where(col(LeaseRow.name) == name, col(LeaseRow.owner) == owner)
        .values(expires_at=unit.now)
    )


def claim_daily_run(unit: Unit, *, job: str, day: date) -> bool:
    """Whether the job of this local day is ours: True exactly once."""
    return insert_once(unit.session, DailyRunRow, job=job, day=day, claimed_at=unit.now, outcome="")


def last_daily_run(session: Session, job: str) -> date | None:
    """The newest day of which the job was claimed."""
    return session.exec(
        select(col(DailyRunRow.day)).where(DailyRunRow.job == job).order_by(col(DailyRunRow.day).desc())
    ).first()


def reclaim_daily_run(
    unit: Unit, *, job: str, day: date, abandoned: datetime, give_back: bool = False
) -> bool:
    """Whether a run that was begun before ``abandoned`` and never finished is ours now.

    ``give_back``: make it free for anyone at once.
    """
    begun = datetime.fromtimestamp(0, UTC) if give_back else unit.now
    # Nobody alive can have begun it so far ahead: the clock was set back since.
    ahead = unit.now + 2 * (unit.now - abandoned)
    claimed = col(DailyRunRow.claimed_at)
    result = unit.session.execute(
        update(DailyRunRow)
        .where(col(DailyRunRow.job) == job, col(DailyRunRow.day) == day)
        .where(col(DailyRunRow.finished_at).is_(None), or_(claimed <= abandoned, claimed > ahead))
        .values(claimed_at=begun)
    )
    assert isinstance(result, CursorResult)
    return result.rowcount == 1


def forget_runs_after(unit: Unit, day: date) -> int:
    """Runs of days that have not come: a clock that ran ahead claimed them. How many."""
    result = unit.session.execute(delete(DailyRunRow).where(col(DailyRunRow.day) > day))
    assert isinstance(result, CursorResult)
    return result.rowcount


def daily_runs(session: Session, *, since: date) -> tuple[DailyRun, ...]:
    """Every run from ``since`` on, by day and job."""
    rows = session.exec(
        select(DailyRunRow)
        .where(DailyRunRow.day >= since)
        .order_by(col(DailyRunRow.day), col(DailyRunRow.id))
    )
    return tuple(DailyRun(r.job, r.day, r.claimed_at, r.finished_at, r.outcome) for r in rows)


def transitions_ahead(session: Session, after: datetime) -> tuple[Transition, ...]:
    """Transitions that would become true only ``after`` this instant: a clock that ran ahead wrote them."""
    return _transitions(session, col(TripTransitionRow.became_at) > after)


def take_back_transition(unit: Unit, transition: Transition) -> bool:
    """Take a transition back that has not become true; its journal entry is the caller's.

    False where another server was faster.
    """
    result = unit.session.execute(
        delete(TripTransitionRow).where(
            col(TripTransitionRow.trip_id) == transition.trip_id,
            col(TripTransitionRow.kind) == transition.kind,
            col(TripTransitionRow.became_at) == transition.became_at,
        )
    )
    assert isinstance(result, CursorResult)
    return result.rowcount == 1


def finish_daily_run(unit: Unit, *, job: str, day: date, outcome: str) -> None:
    """The job of the day is over; ``outcome`` in one sentence."""
    unit.session.execute(
        update(DailyRunRow)
        .where(col(DailyRunRow.job) == job, col(DailyRunRow.day) == day)
        .values(finished_at=unit.now, outcome=outcome)
    )


def daily_outcome(session: Session, *, job: str, day: date) -> str | None:
    """What came of the job on that day; None if it was not claimed."""
    row = session.exec(select(DailyRunRow).where(DailyRunRow.job == job, DailyRunRow.day == day)).first()
    return row.outcome if row else None


def note_transitions(unit: Unit, turns: Iterable[Turn]) -> set[Turn]:
    """Write down, once, that visits turned late or overdue; those that were not known yet."""
    rows = [dict(zip(_TURN, turn, strict=True), noticed_at=unit.now) for turn in turns]
    return set(map(tuple, insert_new(unit.session, TripTransitionRow, rows, *_TURN))) if rows else set()


def transitions(session: Session, *, trip_id: int | None = None) -> tuple[Transition, ...]:
    """Every transition, or those of one visit, by when it became true."""
    return _transitions(session, *([] if trip_id is None else [col(TripTransitionRow.trip_id) == trip_id]))


def turns_of(session: Session, trips: Collection[int]) -> set[Turn]:
    """What is written down of these visits."""
    rows = session.execute(
        sql_select(*(col(getattr(TripTransitionRow, name)) for name in _TURN)).where(
            col(TripTransitionRow.trip_id).in_(trips)
        )
    )
    return {(number, kind, became_at) for number, kind, became_at in rows}


def _transitions(session: Session, *conditions: ColumnElement[bool]) -> tuple[Transition, ...]:
    rows = session.exec(
        select(TripTransitionRow)
        .where(*conditions)
        .order_by(
            col(TripTransitionRow.became_at), col(TripTransitionRow.trip_id), col(TripTransitionRow.kind)
        )
    )
    return tuple(
        Transition(row.trip_id, "late" if row.kind == "late" else "overdue", row.became_at, row.noticed_at)
        for row in rows
    )
