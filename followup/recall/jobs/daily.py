"""The work of each day: claimed once by a unique row, made up once, in order, after the computer was off.

A job belongs to a local day and an hour of it. When days were missed, each gets its run, oldest
first; what no longer makes sense for a day that is over is left out, and the run says so.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

from followup.clinical.protocol.protocol import Protocol
from followup.errors import FollowupError
from followup.language.catalogues import translator
from followup.recall.jobs.lists import DueLine, ReachLine, as_csv, due_lines, reach_lines
from followup.recall.jobs.pharmacy import BottleLine, pharmacy_lines
from followup.recall.messages.calls import CallLine, call_lines
from followup.recall.messages.channels import Sender
from followup.recall.messages.clock import why_messages_wait
from followup.recall.messages.sending import queue_day
from followup.recall.messages.wording import MessageKind
from followup.records.channels import Channel
from followup.records.house.clinics import clinic_zone
from followup.records.house.list_imports import forget_list_imports
from followup.records.house.wrong_logins import forget_old_wrong_logins
from followup.records.jobs.backup import prune, take_backup
from followup.records.jobs.upkeep import (
    claim_daily_run,
    daily_runs,
    finish_daily_run,
    forget_runs_after,
    heartbeat,
    last_daily_run,
    reclaim_daily_run,
)
from followup.records.people.messages import choices_changed, take_back_messages_after
from followup.records.plans.bound import verify_all
from followup.records.plans.completing import complete_plan, plans_to_complete
from followup.records.store.durable import write_whole
from followup.records.store.journal import Seal, newest_seal
from followup.records.store.store import Session, Store
from followup.records.views import SYSTEM

# Of a longer absence only the newest days are made up one by one.
LONGEST = 60
# Whoever has not finished a run by then is dead, and the run is taken over.
ABANDONED = timedelta(minutes=30)
DAILY = "daily work"
# No backup is deleted on a day that lies further from the last sign of life.
PRUNING_GAP = timedelta(days=2)
# Days whose lists stay on the disk.
LIST_DAYS = 14
_SINCE = "; asked again since somebody agreed: "
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Workplace:
    """What the daily jobs work with. ``folder``: where lists, backups and the journal's seal go."""

    store: Store
    protocol: Protocol
    folder: Path
    senders: Mapping[Channel, Sender] = field(default_factory=dict)
    passphrase: str = field(default="", repr=False)

    @property
    def lists(self) -> Path:
        return self.folder / "lists"

    @property
    def backups(self) -> Path:
        return self.folder / "backups"

    @property
    def seal(self) -> Path:
        return seal_file(self.folder)


@dataclass(frozen=True)
class Job:
    """``at``: the local hour from which on the day's run is due. ``run`` says what came of it.

    ``each_day``: a missed day has its own run; else only the newest one makes sense. ``tells``: its work
    reaches patients, and waits while the clock can't be believed.
    """

    name: str
    at: str
    run: Callable[[Workplace, date, datetime], str]
    each_day: bool = False
    tells: bool = False


def run_due(place: Workplace, now: datetime) -> tuple[str, ...]:
    """Run every job that is due and not done, missed days first; what failed, one line each."""
    with place.store.read() as session:
        local = now.astimezone(clinic_zone(session))
        waits = bool(why_messages_wait(session))
    with place.store.upkeep(now) as unit:
        forget_runs_after(unit, local.date())
        forget_old_wrong_logins(unit)
        forget_list_imports(unit)
        take_back_messages_after(unit, local.date())
    failed = []
    for job in JOBS:
        if job.tells and waits:
            continue
        try:
            for day in _days(place, job, local):
                _run(place, job, day, local, now)
            if job.tells:
                _tell_who_agreed_since(place, job, local.date(), now)
        except Exception as exc:
            # One job that fails must not keep back the next; it is tried again at the next sweep.
            line = exc.line if isinstance(exc, FollowupError) else type(exc).__name__
            _log.error("%s failed", job.name, exc_info=exc)
            failed.append(f"{job.name}: {line}")
    return tuple(failed)


def seal_file(folder: Path) -> Path:
    """Where the journal's newest seal is written down in the clinic's folder."""
    return folder / "journal-seal.json"


def kept_seal(path: Path) -> Seal | None:
    """The journal's seal as it was written down outside the database; None before the first time."""
    try:
        data = json.loads(path.read_text("utf-8"))
        return Seal(int(data["entries"]), str(data["hash"]))
    except (OSError, ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return None


def keep_seal(path: Path, session: Session) -> Seal:
    """Write the newest seal down, outside the database."""
    seal = newest_seal(session)
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    write_whole(path, json.dumps(asdict(seal)).encode())
    return seal


def _days(place: Workplace, job: Job, local: datetime) -> list[date]:
    """The days of the job that are due by now, oldest first."""
    newest = local.date() if f"{local:%H:%M}" >= job.at else local.date() - timedelta(days=1)
    with place.store.read() as session:
        last = last_daily_run(session, job.name)
    first = newest if last is None else last + timedelta(days=1)
    if last is None and newest < local.date():
        return []
    first = max(first, newest - timedelta(days=LONGEST))
    days = [first + timedelta(days=number) for number in range((newest - first).days + 1)]
    # The last claimed one too: whoever claimed it may have died before the end.
    return [*([last] if last else []), *days]


def _run(place: Workplace, job: Job, day: date, local: datetime, now: datetime) -> None:
    with place.store.upkeep(now) as unit:
        mine = claim_daily_run(unit, job=job.name, day=day) or reclaim_daily_run(
            unit, job=job.name, day=day, abandoned=now - ABANDONED
        )
    if not mine:
        return
    newest = local.date() if f"{local:%H:%M}" >= job.at else local.date() - timedelta(days=1)
    if day < newest and not job.each_day:
        outcome = "left out: the computer was off, the newest run stands for this one"
    else:
        try:
            outcome = job.run(place, day, now)
        except BaseException:
            # Given back, so that the next sweep tries again.
            with place.store.upkeep(now) as unit:
                reclaim_daily_run(unit, job=job.name, day=day, abandoned=now, give_back=True)
            raise
    with place.store.upkeep(now) as unit:
        finish_daily_run(unit, job=job.name, day=day, outcome=outcome)


def _tell_who_agreed_since(place: Workplace, job: Job, day: date, now: datetime) -> None:
    """Whoever agreed, or is followed again, after the day's run is told today too: each key goes out once."""
    with place.store.read() as session:
        done = next((run for run in daily_runs(session, since=day) if run.job == job.name), None)
        if done is None or done.finished_at is None:
            return
        if not choices_changed(session, done.finished_at, now):
            return
    first = done.outcome.partition(_SINCE)[0]
    outcome = f"{first}{_SINCE}{job.run(place, day, now)}"
    with place.store.upkeep(now) as unit:
        finish_daily_run(unit, job=job.name, day=day, outcome=outcome)


def _integrity(place: Workplace, day: date, now: datetime) -> str:
    with place.store.read() as session:
        seal = verify_all(session, at_least=kept_seal(place.seal)).journal
        keep_seal(place.seal, session)
    return f"the journal is whole, {seal.entries} entries"


def _backup(place: Workplace, day: date, now: datetime) -> str:
    taken = take_backup(
        place.store.engine,
        place.backups,
        now,
        passphrase=place.passphrase,
        clear=(place.folder, place.lists),
    )
    head = f"{taken.path.name}: {taken.rows} rows, verified"
    if not _clock_went_on(place, now):
        return f"{head}; no old one was deleted: the program was not at work in the two days before"
    return f"{head}; {prune(place.backups, day)} old ones deleted"


def _clock_went_on(place: Workplace, now: datetime) -> bool:
    """Whether the daily work was at it within the last two days: else the clock may have jumped."""
    with place.store.read() as session:
        beat = heartbeat(session, DAILY)
    return beat is not None and abs(now - beat.at) <= PRUNING_GAP


def _complete(place: Workplace, day: date, now: datetime) -> str:
    """Plans whose last visit is done and whose last drop was taken before this day."""
    with place.store.read() as session:
        over = plans_to_complete(session, day)
    done = 0
    for plan_id in over:
        with place.store.write(SYSTEM, now) as unit:
            done += complete_plan(unit, plan_id=plan_id, today=day)
    return f"{done} completed"


def _morning(place: Workplace, day: date, now: datetime) -> str:
    words, kinds = translator("en", "desk"), place.protocol.kinds
    with place.store.read() as session:
        due = due_lines(session, day, now, kinds)
        reach = reach_lines(session, now, words, kinds, place.protocol.recall)
    _write(place, day, "due", as_csv(DueLine, due))
    _write(place, day, "to-reach", as_csv(ReachLine, reach))
    _forget_lists(place.lists, day)
    return f"{len(due)} due, {len(reach)} to reach"


def _pharmacy(place: Workplace, day: date, now: datetime) -> str:
    with place.store.read() as session:
        lines = pharmacy_lines(session, day, place.protocol.formulary)
    _write(place, day, "pharmacy", as_csv(BottleLine, lines))
    return f"{len(lines)} bottles"


def _messages(kind: MessageKind) -> Callable[[Workplace, date, datetime], str]:
    def run(place: Workplace, day: date, now: datetime) -> str:
        done = queue_day(place.store, kind, day, now, place.protocol)
        if done.paper:
            with place.store.read() as session:
                lines = call_lines(session, kind, day, place.protocol)
            _write(place, day, f"calls-{kind.replace(' ', '-')}", as_csv(CallLine, lines))
        late = f", {done.too_late} left out: too late to be of use" if done.too_late else ""
        return f"{done.new} queued, {done.paper} on the call list{late}"

    return run


def _write(place: Workplace, day: date, name: str, content: str) -> None:
    place.lists.mkdir(parents=True, exist_ok=True, mode=0o700)
    write_whole(place.lists / f"{day.isoformat()}-{name}.csv", content.encode())


def _forget_lists(folder: Path, today: date) -> None:
    """Delete the lists of old days: names and telephones lie on the disk no longer than they are of use.

    Counted by the days that have lists, never by the clock, as backups are; what lies ahead stays.
    """
    of_day: dict[date, list[Path]] = {}
    for path in folder.glob("????-??-??-*.csv"):
        try:
            of_day.setdefault(date.fromisoformat(path.name[:10]), []).append(path)
        except ValueError:
            continue
    past = sorted((day for day in of_day if day <= today), reverse=True)
    for day in past[LIST_DAYS:]:
        for path in of_day[day]:
            path.unlink(missing_ok=True)


# In their order: the store is known to be whole and saved before anything is sent.
JOBS = (
    Job("integrity check", "01:00", _integrity),
    Job("nightly backup", "01:30", _backup),
    Job("plans that are over", "02:00", _complete),
    Job("morning list", "06:00", _morning),
    Job("pharmacy list", "06:00", _pharmacy),
    Job("day-before reminders", "08:00", _messages("reminder"), each_day=True, tells=True),
    Job("step-change messages", "08:00", _messages("step change"), each_day=True, tells=True),
    Job("missed-visit messages", "09:00", _messages("missed"), each_day=True, tells=True),
)
