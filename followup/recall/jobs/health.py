"""Whether the program is doing its work: the sweeper's pulse, and numbered findings with what to do."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from followup.clinical.protocol.protocol import Protocol
from followup.errors import FollowupError
from followup.language.fonts import families, font_file
from followup.recall.codes.codes import load_keyring
from followup.recall.jobs.daily import DAILY, Workplace, kept_seal
from followup.recall.jobs.sweep import SWEEP
from followup.recall.messages.clock import why_messages_wait
from followup.recall.messages.sending import SENDING
from followup.records.house.clinics import get_clinic
from followup.records.jobs.backup import backups, damaged_backups
from followup.records.jobs.leftovers import kept_aside_long, leftovers
from followup.records.jobs.upkeep import heartbeat, lease
from followup.records.people.messages import unsent_messages, unusable_choices
from followup.records.plans.bound import verify_all
from followup.records.plans.protocols import protocol_signature
from followup.records.store.journal import newest_entry_at
from followup.records.store.private import open_to_others
from followup.records.store.store import Session

# Three sweeps; a server that is merely slow is not called dead.
STALE = timedelta(minutes=3)
CLOCK = timedelta(minutes=5)
OLD_BACKUP = timedelta(hours=50)
LITTLE_SPACE, SOME_SPACE = 200_000_000, 1_000_000_000


@dataclass(frozen=True)
class Pulse:
    """``state`` in words: "ok", or what is wrong. ``age`` of the last sweep; None if there was none."""

    state: str
    age: timedelta | None

    @property
    def ok(self) -> bool:
        return self.state == "ok"


@dataclass(frozen=True)
class HealthFinding:
    """``code``: E for what stops the work or can hurt, W for what should be seen to."""

    code: str
    what: str
    fix: str

    @property
    def is_error(self) -> bool:
        return self.code.startswith("E")


def pulse(session: Session, now: datetime) -> Pulse:
    """Whether the sweep that finds late visits runs, at this moment, on any server."""
    beat = heartbeat(session, SWEEP)
    if beat is None:
        return Pulse("the sweep has never run", None)
    age = now - beat.at
    if age > STALE:
        return Pulse("the sweep is not running", age)
    if age < -CLOCK:
        return Pulse("the last sweep lies in the future: a clock is wrong", age)
    return Pulse("ok" if beat.ok else "the sweep fails", age)


def findings(place: Workplace, key_file: Path, now: datetime) -> tuple[HealthFinding, ...]:
    """Everything worth a look, in the order of its number; () when all is well."""
    with place.store.read() as session:
        found = [
            *_sweeper(session, now),
            *_clock(session, now),
            *_waiting(session),
            *_journal(session, place),
            *_protocol(session, place.protocol),
            *_messages(session, now),
        ]
    found += [*_disk(place.folder), *_fonts(), *_keys(key_file), *_backups(place, now), *_files(place, now)]
    return tuple(sorted(found, key=lambda finding: finding.code[1:]))


def _sweeper(session: Session, now: datetime) -> Iterator[HealthFinding]:
    found = pulse(session, now)
    beat = heartbeat(session, SWEEP)
    if not found.ok:
        said = f": {beat.message}" if beat and beat.message else ""
        yield HealthFinding(
            "E01", f"{found.state}{said}", "start followup serve; nobody is noticed as late until then"
        )
    held = lease(session, SWEEP)
    if held is not None and held[1] > now + timedelta(minutes=30):
        yield HealthFinding(
            "W02", "the lease of the sweeper runs far ahead", "a clock was wrong; it mends itself"
        )
    daily = heartbeat(session, DAILY)
    if daily is not None and not daily.ok:
        yield HealthFinding(
            "E03", f"daily work fails: {daily.message}", "mend what is named; it is tried every minute"
        )


def _clock(session: Session, now: datetime) -> Iterator[HealthFinding]:
    zone = get_clinic(session).zone
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError):
        yield HealthFinding(
            "E04", f"this computer does not know the time zone {zone}", "install its time zone data"
        )
    newest = newest_entry_at(session)
    if newest is not None and newest > now + CLOCK:
        yield HealthFinding(
            "E05",
            f"the last change was written at {newest:%Y-%m-%d %H:%M} UTC, which lies ahead of this clock",
            "set the computer's clock before anybody works on",
        )


def _waiting(session: Session) -> Iterator[HealthFinding]:
    if why := why_messages_wait(session):
        yield HealthFinding(
            "E14",
            f"messages to patients wait: {why}",
            "look at the date on the log-in page; set the clock if it is wrong, then log in on that day",
        )


def _journal(session: Session, place: Workplace) -> Iterator[HealthFinding]:
    try:
        verify_all(session, at_least=kept_seal(place.seal))
    except FollowupError as error:
        named = f"{error.where}: {error.what}" if error.code == "journal.unlike" else error.what
        yield HealthFinding("E06", named, error.fix)


def _protocol(session: Session, protocol: Protocol) -> Iterator[HealthFinding]:
    if protocol_signature(session, protocol.hash) is None:
        yield HealthFinding("W07", "the protocol is not signed", "let a licensed clinician read and sign it")


def _messages(session: Session, now: datetime) -> Iterator[HealthFinding]:
    unsent = unsent_messages(session, before=now - timedelta(hours=12))
    if unsent:
        yield HealthFinding(
            "W08",
            f"{len(unsent)} messages could not be sent; the last error: {unsent[-1].last_error or 'none'}",
            "call these patients: followup messages unsent",
        )

    unusable = unusable_choices(session)
    if unusable:
        some = ", ".join(unusable[:5])
        yield HealthFinding(
            "W17",
            f"messages can't go to what stands as the address of {some}{' and others' * (len(unusable) > 5)}",
            "ask for it and correct it on the patient's page",
        )
    sending = heartbeat(session, SENDING)
    if sending is not None and not sending.ok:
        yield HealthFinding(
            "E18",
            f"a way out hangs: {sending.message}",
            "see whether that service works; it is tried every minute",
        )


def _disk(folder: Path) -> Iterator[HealthFinding]:
    free = shutil.disk_usage(folder).free
    if free < SOME_SPACE:
        code = "E09" if free < LITTLE_SPACE else "W09"
        yield HealthFinding(code, f"{free // 1_000_000} MB are left on the disk", "free some space")


def _fonts() -> Iterator[HealthFinding]:
    for family in families():
        try:
            font_file(family)
        except FollowupError as error:
            yield HealthFinding("E10", error.what, "install the program again: sheets would not print")


def _keys(key_file: Path) -> Iterator[HealthFinding]:
    try:
        load_keyring(key_file)
    except FollowupError as error:
        yield HealthFinding("E11", f"{error.where}: {error.what}", error.fix)


def _files(place: Workplace, now: datetime) -> Iterator[HealthFinding]:
    url = place.store.engine.url
    database = [Path(url.database)] if url.get_backend_name() == "sqlite" and url.database else []
    if found := open_to_others(place.folder, *database):
        yield HealthFinding(
            "W19",
            f"other users of this computer can get at {_some(found)}",
            "run: chmod -R go= on it, as the one to whom it belongs",
        )
    folders = {place.folder, place.lists, place.backups, *(path.parent for path in database)}
    if found := tuple(path for each in folders for path in leftovers(each, now.timestamp())):
        yield HealthFinding(
            "W20",
            f"a run that was broken off left {_some(found)}",
            "the next backup deletes what lies with it and in the clinic's folder; delete it where it stays",
        )
    if found := tuple(path for each in folders for path in kept_aside_long(each, now)):
        yield HealthFinding(
            "W21",
            f"a restore put aside, more than thirty days ago, {_some(found)}",
            "see whether anybody still needs it, then delete it: it holds what patients told",
        )


def _some(paths: tuple[Path, ...]) -> str:
    more = f" and {len(paths) - 3} more" if len(paths) > 3 else ""
    return f"{', '.join(map(str, sorted(paths)[:3]))}{more}"


def _backups(place: Workplace, now: datetime) -> Iterator[HealthFinding]:
    found = backups(place.backups)
    # A backup that a wrong clock dated ahead would else seem the newest for years.
    taken = [one for one in found if one.at <= now + CLOCK]
    if ahead := [one for one in found if one.at > now + CLOCK]:
        yield HealthFinding(
            "W15",
            f"the backup {ahead[0].path.name} is dated ahead of this clock and does not count",
            "see whether the clock is right; it counts when its day has come",
        )
    for path in damaged_backups(place.backups):
        yield HealthFinding(
            "E16",
            f"the backup {path.name} is not as it was saved: its hash is not the one in its note",
            "take another with followup backup, and see whether the disk is sound",
        )
    if not taken:
        yield HealthFinding(
            "E12", "there is no backup", "run followup backup, and let followup serve run at night"
        )
    elif now - taken[0].at > OLD_BACKUP:
        hours = int((now - taken[0].at).total_seconds() // 3600)
        yield HealthFinding("E12", f"the newest backup is {hours} hours old", "run followup backup")
    if taken and not taken[0].encrypted:
        yield HealthFinding(
            "W13",
            "the backups are not encrypted",
            "set FOLLOWUP_BACKUP_PASSPHRASE_FILE, or keep them under lock",
        )
