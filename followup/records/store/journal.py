"""The journal: who did what when; append-only, each entry sealed with the hash of the one before.

It shows that entries were changed, inserted or taken out. That the newest ones were cut off shows
only against a seal written down elsewhere: every backup and the seal file beside the keys hold one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from json.encoder import encode_basestring as _quoted
from typing import NamedTuple

from sqlalchemy import Dialect
from sqlmodel import Session, col, select

from followup.errors import FollowupError
from followup.records.tables import JournalRow, metadata
from followup.said import say

FIRST = "0" * 64

_INSERT = (
    "INSERT INTO journal (number, at, actor, action, subject, details, previous, hash)"
    " VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
)

Detail = str | int | bool | None | list[str]


@dataclass(frozen=True)
class NewEntry:
    """What is to be written down: ``action`` in the program's words, ``subject`` like ``patient:A-12``."""

    action: str
    subject: str
    details: Mapping[str, Detail]


@dataclass(frozen=True)
class Seal:
    """The journal's length and its newest hash."""

    entries: int
    hash: str


class _Entry(NamedTuple):
    """An entry as its hash is made of it."""

    number: int
    at: datetime
    actor: str
    action: str
    subject: str
    details: str
    previous: str


def append(session: Session, entries: Iterable[NewEntry], *, actor: str, now: datetime) -> None:
    """Write the entries at the end of the chain, in the transaction of ``session``.

    The session must be the only one that writes (``Store.write``), else the chain would fork.
    """
    session.flush()
    newest = session.exec(select(JournalRow).order_by(col(JournalRow.number).desc()).limit(1)).first()
    number, previous = (newest.number, newest.hash) if newest else (0, FIRST)
    at, rows = now.astimezone(UTC), []
    connection = session.connection()
    stored_at = _stored(connection.dialect, at)
    for entry in entries:
        number += 1
        told = _Entry(number, at, actor, entry.action, entry.subject, canonical(entry.details), previous)
        previous = seal(told)
        rows.append((number, stored_at, *told[2:], previous))
    # Together and as the driver takes them: a sweep writes thousands, and takes a sixth less for it.
    statement = _INSERT if connection.dialect.name == "sqlite" else _INSERT.replace("?", "%s")
    connection.exec_driver_sql(statement, rows)


def _stored(dialect: Dialect, at: datetime) -> object:
    """The instant as the column ``at`` hands it to the driver."""
    told = metadata.tables["journal"].c.at.type.dialect_impl(dialect).bind_processor(dialect)
    return told(at) if told else at


# Made once: a sweep and a backup ask for hundreds of thousands of texts.
_WRITER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def canonical(value: object) -> str:
    """The one JSON text of a value: keys sorted, no blanks, no escapes for other scripts."""
    return _WRITER.encode(value)


def seal(row: JournalRow | _Entry) -> str:
    """SHA-256 over the previous hash and the canonical JSON of the entry."""
    # What ``canonical`` makes of a dictionary of these, in a third of the time: a night reads every entry.
    content = (
        f'{{"action":{_quoted(row.action)},"actor":{_quoted(row.actor)},'
        f'"at":"{row.at.astimezone(UTC).isoformat(timespec="microseconds")}",'
        f'"details":{_quoted(row.details)},"number":{row.number:d},"subject":{_quoted(row.subject)}}}'
    )
    return hashlib.sha256(f"{row.previous}{content}".encode()).hexdigest()


def verify_journal(session: Session, *, at_least: Seal | None = None) -> Seal:
    """The seal of an unbroken journal; else a FollowupError that names the first broken link.

    ``at_least``: a seal that was written down elsewhere; the journal must still contain it, so that
    entries cut off at its end are missed.
    """
    try:
        return _checked(
            session.exec(select(JournalRow).order_by(col(JournalRow.number))).yield_per(500), at_least
        )
    except (ValueError, TypeError):
        # An entry that is no entry any more: looked for one by one.
        numbers = session.exec(select(col(JournalRow.number)).order_by(col(JournalRow.number))).all()
        return _checked((_readable(session, number) for number in numbers), at_least)


def _readable(session: Session, number: int) -> JournalRow:
    try:
        row = session.exec(select(JournalRow).where(JournalRow.number == number)).one()
        seal(row)
    except (ValueError, TypeError):
        raise _broken(number, "was changed so that it can't be read") from None
    return row


def _checked(rows: Iterable[JournalRow], at_least: Seal | None) -> Seal:
    kept = FIRST if at_least is None or not at_least.entries else ""
    number, previous = 0, FIRST
    for row in rows:
        number += 1
        if row.number != number:
            raise _broken(number, "is missing")
        if row.previous != previous:
            raise _broken(number, "does not follow the one before it")
        if row.hash != seal(row):
            raise _broken(number, "was changed after it was written")
        previous = row.hash
        if at_least is not None and number == at_least.entries:
            kept = row.hash
    if at_least is not None and kept != at_least.hash:
        if number < at_least.entries:
            raise _broken(number + 1, f"and all up to {at_least.entries} were cut off")
        raise _broken(at_least.entries, "is not the one that was sealed elsewhere")
    return Seal(number, previous)


def newest_entry_at(session: Session) -> datetime | None:
    """When the newest entry was written; None in an empty journal."""
    return session.exec(select(col(JournalRow.at)).order_by(col(JournalRow.number).desc()).limit(1)).first()


def newest_seal(session: Session) -> Seal:
    """The newest entry's seal as it stands, without checking the rest."""
    newest = session.exec(select(JournalRow).order_by(col(JournalRow.number).desc()).limit(1)).first()
    return Seal(newest.number, newest.hash) if newest else Seal(0, FIRST)


def journal_of(session: Session, subject: str) -> tuple[JournalEntry, ...]:
    """All entries about one subject, oldest first."""
    rows = session.exec(
        select(JournalRow).where(JournalRow.subject == subject).order_by(col(JournalRow.number))
    )
    return tuple(JournalEntry(r.number, r.at, r.actor, r.action, json.loads(r.details)) for r in rows)


def journal_of_several(
    session: Session, subjects: Collection[str], actions: Collection[str]
) -> dict[str, tuple[JournalEntry, ...]]:
    """The entries about each of these subjects that tell of one of these actions, oldest first."""
    rows = session.exec(
        select(JournalRow)
        .where(col(JournalRow.subject).in_(subjects), col(JournalRow.action).in_(actions))
        .order_by(col(JournalRow.number))
    )
    found: dict[str, list[JournalEntry]] = {subject: [] for subject in subjects}
    for row in rows:
        details = json.loads(row.details)
        found[row.subject].append(JournalEntry(row.number, row.at, row.actor, row.action, details))
    return {subject: tuple(own) for subject, own in found.items()}


@dataclass(frozen=True)
class JournalEntry:
    """An entry as it was written."""

    number: int
    at: datetime
    actor: str
    action: str
    details: Mapping[str, Detail]


def _broken(number: int, what: str) -> FollowupError:
    return FollowupError(
        "journal.broken",
        say("entry {number} {what}", number=number, what=what),
        where=say("journal"),
        fix=say("restore the newest backup whose journal is whole and tell who is in charge of the records"),
    )
