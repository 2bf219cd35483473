"""What the store says against lines from elsewhere: another name, another eye, somebody who died."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from followup.clinical.record import Eye
from followup.records.people.folding import fold_code, fold_name
from followup.records.people.listed import KnownPatient, known_patients, lists_of_days
from followup.records.people.oplist import ListLine
from followup.records.store.store import Session
from followup.said import say
from followup.typed import typed

GONE = ("died", "moved away")


@dataclass(frozen=True)
class ToAdd:
    """A line that is to be added to the list of ``on``, with the number of its row."""

    number: int
    on: date
    line: ListLine

    @property
    def code(self) -> str:
        return fold_code(self.line.patient_code)


@dataclass(frozen=True)
class Doubt:
    """Why a line is not taken, and in which of its fields (``code``, ``name``, ``eye``) that lies."""

    field: str
    why: str


def doubts_of(session: Session, lines: Sequence[ToAdd]) -> dict[int, Doubt]:
    """By row what speaks against a line: the file itself, the patient's record, or the stored list."""
    found = _of_the_file(lines)
    known = known_patients(session, (one.code for one in lines))
    stored = lists_of_days(session, (one.on for one in lines))
    eyes: dict[tuple[date, str], set[Eye]] = {}
    for one in lines:
        eyes.setdefault((one.on, one.code), set()).add(one.line.eye)
    for one in lines:
        if one.number not in found:
            there = [line for line in stored.get(one.on, ()) if fold_code(line.patient_code) == one.code]
            doubt = _of_the_record(one, known.get(one.code)) or _of_the_list(
                one, there, eyes[one.on, one.code]
            )
            if doubt:
                found[one.number] = doubt
    return found


def _of_the_file(lines: Iterable[ToAdd]) -> dict[int, Doubt]:
    found: dict[int, Doubt] = {}
    keys: dict[tuple[date, str, Eye], int] = {}
    names: dict[str, ToAdd] = {}
    for one in lines:
        first = keys.setdefault((one.on, one.code, one.line.eye), one.number)
        named = names.setdefault(one.code, one)
        if first != one.number:
            found[one.number] = Doubt(
                "code", say("the same day, code and eye stand in row {row} too", row=first)
            )
        elif _differ(named.line.name, one.line.name):
            why = say(
                "row {row} has this code with the name {name}", row=named.number, name=typed(named.line.name)
            )
            found[one.number] = Doubt("name", why)
    return found


def _of_the_record(one: ToAdd, known: KnownPatient | None) -> Doubt | None:
    if known is None:
        return None
    if known.standing in GONE:
        return Doubt("code", say("this patient is recorded as {standing}", standing=known.standing))
    if _differ(known.name, one.line.name):
        why = say(
            "the row says {told}, the record of {code} says {known}",
            told=typed(one.line.name),
            code=typed(known.code),
            known=typed(known.name),
        )
        return Doubt("name", why)
    eyes = {eye for day, eye in known.operations if day == one.on}
    if eyes and one.line.eye not in eyes:
        why = say("the record has the operation of {day} on the {eye} eye", day=one.on, eye=min(eyes))
        return Doubt("eye", why)
    return None


def _of_the_list(one: ToAdd, there: Sequence[ListLine], told: set[Eye]) -> Doubt | None:
    for line in there:
        if _differ(line.name, one.line.name):
            return Doubt(
                "name", say("the stored list has this code with the name {name}", name=typed(line.name))
            )
    eyes: set[Eye] = {line.eye for line in there}
    # A file that names both eyes means both; one that names the other alone may be a slip, or the list is.
    if eyes and not eyes <= told:
        return Doubt(
            "eye",
            say(
                "the stored list of {day} names the {eye} eye of this patient",
                day=one.on,
                eye=min(eyes - told),
            ),
        )
    return None


def _differ(one: str, other: str) -> bool:
    return fold_name(one) != fold_name(other)
