"""The clock of the daily work: one sweep a minute while the program serves, by one server at a time.

The scheduler keeps nothing: what has been done is in the store. Missed minutes are no loss, since
every sweep looks at everything that has become true by then.
"""

from __future__ import annotations

import logging
import os
import secrets
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any

from apscheduler.events import (
    EVENT_JOB_ERROR,
    EVENT_JOB_MAX_INSTANCES,
    EVENT_JOB_MISSED,
    JobEvent,
    JobExecutionEvent,
)
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.background import BackgroundScheduler

from followup.recall.jobs.daily import DAILY, Workplace, run_due
from followup.recall.jobs.sweep import SWEEP, Swept, sweep
from followup.recall.messages.clock import note_clock
from followup.recall.messages.sending import SENDING, SentMessages, send_due
from followup.records.jobs.upkeep import note_heartbeat, release_lease, take_lease
from followup.records.store.store import Store

INTERVAL = timedelta(seconds=60)
# Longer than two intervals: a server that is merely slow keeps its lease, a dead one loses it soon.
LEASE = timedelta(seconds=150)
_log = logging.getLogger(__name__)


def utc_now() -> datetime:
    """The present instant; the one place in this room that reads a clock."""
    return datetime.now(UTC)


def owner_name() -> str:
    """A name for this process among all servers of the clinic."""
    return f"{socket.gethostname()}:{os.getpid()}:{secrets.token_hex(4)}"


def sweep_if_ours(
    store: Store, owner: str, now: datetime, *, place: Workplace | None = None, sending: bool = True
) -> Swept | None:
    """Sweep, unless another server holds the lease; then None. With a ``place`` do the day's work too.

    ``sending``: the messages that are due as well.
    """
    with store.upkeep(now) as unit:
        ours = take_lease(unit, name=SWEEP, owner=owner, lifetime=LEASE)
    if not ours:
        return None
    swept = sweep(store, now)
    if place is not None:
        if sending:
            work(place, owner, lambda: now)
        else:
            _note_daily(place, now, run_due(place, now))
    return swept


def work(place: Workplace, owner: str, clock: Callable[[], datetime]) -> None:
    """The daily jobs that are due, then the messages that are due; what failed stands on a heartbeat."""
    failed = run_due(place, clock())
    sent = send(place, owner, clock)
    _note_daily(place, clock(), failed, sent.sent)


def send(
    place: Workplace, owner: str, clock: Callable[[], datetime], stopped: Callable[[], bool] = lambda: False
) -> SentMessages:
    """The messages that are due; a way out that gives no answer stands on a heartbeat until it does."""
    # Also here: it may come before the first sweep of a clock that has jumped.
    note_clock(place.store, clock())
    sent = send_due(place.store, place.senders, place.protocol, owner=owner, clock=clock, stopped=stopped)
    if not stopped():
        said = "; ".join(f"{way}: no answer" for way in sent.silent)
        with place.store.upkeep(clock()) as unit:
            note_heartbeat(unit, name=SENDING, ok=not said, rows=sent.sent, message=said)
    return sent


def _note_daily(place: Workplace, now: datetime, failed: tuple[str, ...], sent: int = 0) -> None:
    with place.store.upkeep(now) as unit:
        note_heartbeat(unit, name=DAILY, ok=not failed, rows=sent, message="; ".join(failed))


@contextmanager
def running(
    store: Store, *, clock: Callable[[], datetime] = utc_now, place: Workplace | None = None
) -> Iterator[BackgroundScheduler]:
    """Sweep at once and then every minute, until the block ends; gives the lease back at the end.

    With a ``place`` the daily jobs run too, after each sweep, and messages beside it: a way out that
    hangs holds up neither the sweep nor the end of the program.
    """
    owner, ends = owner_name(), threading.Event()
    scheduler = BackgroundScheduler(timezone=UTC, jobstores={"default": MemoryJobStore()})
    scheduler.add_listener(_report, EVENT_JOB_ERROR | EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES)
    every: dict[str, Any] = {
        "trigger": "interval",
        "seconds": int(INTERVAL.total_seconds()),
        "next_run_time": utc_now(),
        "misfire_grace_time": None,
        "coalesce": True,
        "max_instances": 1,
    }
    scheduler.add_job(
        lambda: sweep_if_ours(store, owner, clock(), place=place, sending=False), id=SWEEP, **every
    )
    if place is not None:
        scheduler.add_job(lambda: send(place, owner, clock, ends.is_set), id=SENDING, **every)
    scheduler.start()
    try:
        yield scheduler
    finally:
        ends.set()
        scheduler.shutdown(wait=True)
        try:
            with store.upkeep(clock()) as unit:
                release_lease(unit, name=SWEEP, owner=owner)
        except Exception:
            # The database is away; the lease runs out by itself.
            _log.exception("the lease of the sweep was not given back")


def is_alive(scheduler: BackgroundScheduler) -> bool:
    """Whether its thread really runs; ``scheduler.running`` alone stays true after the thread died."""
    thread = scheduler._thread
    return bool(scheduler.running and thread is not None and thread.is_alive())


def _report(event: JobEvent) -> None:
    if isinstance(event, JobExecutionEvent) and event.exception is not None:
        _log.error("the sweep failed", exc_info=event.exception)
        return
    _log.warning("a sweep was left out, the next one makes up for it")
