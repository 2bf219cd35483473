"""What a restore takes back of people: whose log-in, roles or password were changed after the backup."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from pathlib import Path

from sqlalchemy.exc import SQLAlchemyError

from followup.errors import FollowupError
from followup.records.house.staff import all_staff, change_staff
from followup.records.store.engine import sqlite_url
from followup.records.store.journal import Seal, newest_seal
from followup.records.store.migrations import schema_state
from followup.records.store.store import Store, Unit
from followup.records.views import Staff

# What says nothing about what a person may do; every other field of the view is compared.
_OF_NO_ACCOUNT = frozenset(
    {"id", "name", "language", "active", "reset_by", "reset_at", "second_since", "second_step"}
)
_SAID = {
    "password_hash": "password",
    "second_key": "second factor",
    "site": "site that the person is bound to",
}


@dataclass(frozen=True)
class ReplacedStaff:
    """The people and the journal of the database that is put aside."""

    people: tuple[Staff, ...]
    journal: Seal


@dataclass(frozen=True)
class OlderPerson:
    """Somebody who was changed after the backup was taken; ``what``: each change in words."""

    login: str
    name: str
    what: tuple[str, ...]


def replaced_staff(target: Path) -> ReplacedStaff | None:
    """The staff of the database that is about to be replaced; None where there is none that can be read."""
    if not target.is_file():
        return None
    store = Store.open(sqlite_url(target))
    try:
        if schema_state(store.engine) != "current":
            return None
        with store.read() as session:
            return ReplacedStaff(all_staff(session), newest_seal(session))
    except (SQLAlchemyError, FollowupError, ValueError, TypeError, LookupError):
        # Damaged, or none of ours: that is what a backup is put back for.
        return None
    finally:
        store.close()


def carry_switched_off(unit: Unit, newer: Iterable[Staff]) -> tuple[OlderPerson, ...]:
    """Compare the people of the backup with ``newer`` ones, and leave those switched off who were since.

    Nothing else is changed: who may do what is for the manager to say. All who differ, by log-in name.
    """
    older = {person.login: person for person in all_staff(unit.session)}
    found = []
    for person in newer:
        before = older.pop(person.login, None)
        if before is None:
            found.append(OlderPerson(person.login, person.name, ("added after the backup, is missing",)))
            continue
        what = [
            _SAID.get(one.name, one.name.replace("_", " "))
            for one in fields(person)
            if one.name not in _OF_NO_ACCOUNT and getattr(person, one.name) != getattr(before, one.name)
        ]
        if person.active != before.active:
            what.insert(0, "switched on after the backup, is off" if person.active else _off(unit, person))
        if what:
            found.append(OlderPerson(person.login, person.name, tuple(dict.fromkeys(what))))
    found += [OlderPerson(gone.login, gone.name, ("not there any more, is back",)) for gone in older.values()]
    return tuple(found)


def _off(unit: Unit, person: Staff) -> str:
    try:
        with unit.session.begin_nested():
            change_staff(unit, login=person.login, active=False)
    except FollowupError as error:
        if error.code != "staff.last":
            raise
        return "switched off after the backup, is on: the backup knows no other manager"
    return "stays switched off"
