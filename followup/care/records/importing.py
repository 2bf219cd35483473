"""Rows from elsewhere stored: lines of operation lists, and records with their draft plans.

All of them in one transaction or none; or the good ones, in many short steps between which everybody else
works on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Annotated, Literal

from pydantic import StringConstraints

from followup.care.hand import Hand
from followup.care.plans.planning import planned_first
from followup.care.records.doubts import GONE, ToAdd, doubts_of
from followup.care.records.joining import Joining, join
from followup.clinical.record import Eye, Record
from followup.clinical.record.base import Day, RecordPart
from followup.errors import FollowupError
from followup.language.entered import must_print
from followup.records.people.folding import fold_code
from followup.records.people.listed import KnownPatient, known_patients
from followup.records.people.oplist import ListLine, operation_list, put_operation_list
from followup.records.people.patients import (
    enter_records,
    in_use,
    refusals,
)
from followup.records.plans.plans import WrittenPlan, store_first_drafts, written
from followup.records.store.store import Session, Unit, conflict
from followup.records.trips.places import planning_calendar
from followup.said import say
from followup.timing.calendar import Calendar
from followup.typed import typed

# How often plans are built again because the clinic's places changed meanwhile.
_TRIES = 5
MOST_RECORDS_AT_ONCE = 3_000
"""New records of one transaction: at some 1.5 ms each nobody else waits longer than a few seconds."""
Does = Literal["new", "another", "listed", "there"]
"""What comes of a row: a new patient, another operation of a known one, a line of a list alone, nothing."""
Told = Callable[[int, int], None]
"""Told how many of how many are done; shorter work may go first meanwhile."""


class ListedRow(RecordPart):
    """One expected operation: ``on`` is its day."""

    on: Day
    code: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9-]{0,23}$")]
    name: Annotated[str, StringConstraints(min_length=1, max_length=120)]
    eye: Eye


@dataclass(frozen=True)
class ImportRow:
    """What a row says, with its number; a record told by several rows has all of theirs.

    ``columns``: what the clinic calls the columns of its fields, where its own table is read.
    """

    numbers: tuple[int, ...]
    says: Record | ListedRow
    columns: Mapping[str, str] = field(default_factory=dict)


@dataclass
class ImportTally:
    """What was stored, and by row what was refused with the reason. ``records``: of new patients;
    ``operations``: others of known ones. ``stored`` and ``there``: the rows that brought something new, and
    those that said what was there already; ``new`` and ``another``: of the first those of either kind."""

    records: int = 0
    operations: int = 0
    listed: int = 0
    stored: set[int] = field(default_factory=set)
    new: set[int] = field(default_factory=set)
    another: set[int] = field(default_factory=set)
    there: set[int] = field(default_factory=set)
    refused: dict[int, str] = field(default_factory=dict)

    @property
    def known(self) -> int:
        """How many rows brought nothing new."""
        return len(self.there - self.stored)

    def does(self, number: int) -> Does:
        """What comes of the row, if it is not refused."""
        if number in self.another:
            return "another"
        if number in self.new:
            return "new"
        return "listed" if number in self.stored else "there"

    def joins(self, row: ImportRow, told: Record, joining: Joining) -> None:
        """Count the operations that join a known patient's record, by the rows that tell them."""
        self.operations += len(joining.added)
        by_row = zip(row.numbers, told.operations, strict=False)
        own = {number for number, one in by_row if one in joining.added} or {*row.numbers}
        self.another |= own
        self.stored |= own
        self.there |= {*row.numbers} - own

    def add(self, other: ImportTally) -> None:
        """Count what another step did too."""
        self.records += other.records
        self.operations += other.operations
        for name in ("stored", "new", "another", "there", "refused"):
            getattr(self, name).update(getattr(other, name))

    def refuse(self, numbers: Iterable[int], why: str) -> None:
        """Keep the first reason of each row."""
        for number in numbers:
            self.refused.setdefault(number, why)

    def with_refused(self, more: Mapping[int, str]) -> ImportTally:
        """The same with rows that were refused before."""
        return replace(self, refused={**self.refused, **more})


ToldRecord = tuple[ImportRow, Record]


def _in_silence(_done: int, _of: int) -> None:
    """Nobody waits to hear."""


class _OvertakenError(Exception):
    """The clinic or a patient is not what the plans were built for: nothing is stored."""


class _NothingStoredError(Exception):
    """Ends the transaction without storing anything."""


def store_whole(
    hand: Hand, rows: Sequence[ImportRow], *, adding: bool = False, told: Told = _in_silence
) -> ImportTally:
    """Everything in one transaction; with a single refused row, nothing.

    ``adding``: the lines are added to the lists of their days, which stay as they are else; without it they
    stand in place of these lists. The plans are built before the transaction, while everybody else works
    on; where the clinic's places have changed meanwhile they are built again.
    """
    if adding:
        _refuse_too_many(hand, rows)
    return _store(hand, rows, _prepare(hand, rows, told), adding=adding)


def _refuse_too_many(hand: Hand, rows: Iterable[ImportRow]) -> None:
    """Before their plans are made, which takes some 10 ms each; error ``import.records``."""
    codes = {fold_code(record.patient.code) for _, record in _records_of(rows)}
    with hand.store.read() as session:
        new = len(codes - known_patients(session, codes).keys())
    if new > MOST_RECORDS_AT_ONCE:
        raise _too_many(new)


def _store(hand: Hand, rows: Sequence[ImportRow], prepared: _Prepared, *, adding: bool) -> ImportTally:
    for _ in range(_TRIES):
        tally = ImportTally()
        try:
            with hand.store.write(hand.actor, hand.now) as unit:
                if planning_calendar(unit.session) != prepared.calendar:
                    raise _OvertakenError
                _store_all(unit, rows, prepared, tally, adding=adding)
        except _OvertakenError:
            prepared = _prepare(hand, rows)
            continue
        except _NothingStoredError:
            pass
        return tally
    raise conflict()


def look_at(hand: Hand, rows: Sequence[ImportRow], told: Told = _in_silence) -> ImportTally:
    """What adding ``rows`` would do, as far as nothing changes until then; nothing is stored."""
    return _look(hand, rows, told)[0]


def _look(hand: Hand, rows: Sequence[ImportRow], told: Told) -> tuple[ImportTally, _Prepared]:
    tally = ImportTally()
    with hand.store.read() as session:
        _refuse_doubtful(session, rows, tally)
    fresh = _without(rows, tally)
    prepared = _prepare(hand, fresh, told)
    with hand.store.read() as session:
        for day, some in _days(fresh).items():
            _fresh(some, operation_list(session, day), tally)
        try:
            _look_at_records(session, _records_of(fresh), prepared, tally)
        except _OvertakenError:
            raise conflict() from None
    return tally, prepared


def store_good(hand: Hand, rows: Sequence[ImportRow], told: Told = _in_silence) -> ImportTally:
    """Add those rows that can be stored, a day's list or a record at a time; the others are refused.

    A row whose record is refused adds no line to a list either.
    """
    looked, prepared = _look(hand, rows, told)
    tally = ImportTally(refused=dict(looked.refused))
    good = _without(rows, tally)
    for day, some in sorted(_days(good).items()):
        with hand.store.write(hand.actor, hand.now) as unit:
            _refuse_doubtful(unit.session, some, tally)
            _add_to_list(unit, day, _without(some, tally), tally)
    good = [row for row in _without(good, tally) if isinstance(row.says, Record)]
    for done, row in enumerate(good):
        told(done, len(good))
        tally.add(_store(hand, [row], prepared, adding=True))
    return tally


def _without(rows: Iterable[ImportRow], tally: ImportTally) -> list[ImportRow]:
    return [row for row in rows if not any(number in tally.refused for number in row.numbers)]


def _records_of(rows: Iterable[ImportRow]) -> list[ToldRecord]:
    return [(row, row.says) for row in rows if isinstance(row.says, Record)]


def _lines_of(rows: Iterable[ImportRow]) -> list[ToAdd]:
    return [
        ToAdd(row.numbers[0], row.says.on, ListLine(row.says.code, row.says.name, row.says.eye))
        for row in rows
        if isinstance(row.says, ListedRow)
    ]


def _refuse_doubtful(session: Session, rows: Sequence[ImportRow], tally: ImportTally) -> None:
    columns = {row.numbers[0]: row.columns for row in rows if isinstance(row.says, ListedRow)}
    for number, doubt in doubts_of(session, _lines_of(rows)).items():
        own = columns[number].get(doubt.field, doubt.field)
        tally.refuse([number], say("column {column}: {why}", column=typed(own), why=doubt.why))


@dataclass(frozen=True)
class _Prepared:
    """By row the first plan of each new record as it is stored, or what keeps it from having one; and what a
    known patient's brings to the record, None where that is nothing. ``seen``: by folded code the version of
    the record that it was compared with."""

    calendar: Calendar
    plans: dict[int, WrittenPlan | FollowupError]
    joins: dict[int, Joining | FollowupError | None]
    seen: dict[str, int]


def _prepare(hand: Hand, rows: Iterable[ImportRow], told: Told = _in_silence) -> _Prepared:
    records = _records_of(rows)
    with hand.store.read() as session:
        calendar = planning_calendar(session)
        known = known_patients(session, (record.patient.code for _, record in records))
    plans: dict[int, WrittenPlan | FollowupError] = {}
    joins: dict[int, Joining | FollowupError | None] = {}
    for done, (row, record) in enumerate(records):
        told(done, len(records))
        if who := known.get(fold_code(record.patient.code)):
            joins[row.numbers[0]] = _joined(hand, who, row, record)
        else:
            plans[row.numbers[0]] = _first_plan(hand, record, calendar)
    seen = {code: who.record_number for code, who in known.items()}
    return _Prepared(calendar, plans, joins, seen)


def _joined(hand: Hand, known: KnownPatient, row: ImportRow, told: Record) -> Joining | FollowupError | None:
    try:
        joining = join(hand, known, told, row.columns)
    except FollowupError as error:
        return error
    if joining and known.standing in GONE:
        return FollowupError(
            "record.gone", say("this patient is recorded as {standing}", standing=known.standing)
        )
    return joining


def _first_plan(hand: Hand, record: Record, calendar: Calendar) -> WrittenPlan | FollowupError:
    try:
        must_print(record)
        return written(planned_first(hand, record, calendar))
    except FollowupError as error:
        return error


def _store_all(
    unit: Unit, rows: Sequence[ImportRow], prepared: _Prepared, tally: ImportTally, *, adding: bool
) -> None:
    if adding:
        _refuse_doubtful(unit.session, rows, tally)
        bring = {*prepared.plans, *(number for number, one in prepared.joins.items() if one)}
        new = sum(row.numbers[0] in bring for row, _ in _records_of(rows))
        if new > MOST_RECORDS_AT_ONCE:
            raise _too_many(new)
        for day, some in sorted(_days(rows).items()):
            _add_to_list(unit, day, some, tally)
    else:
        _replace_lists(unit, rows, tally)
    _store_records(unit, _records_of(rows), prepared, tally)
    if tally.refused:
        raise _NothingStoredError


def _too_many(count: int) -> FollowupError:
    return FollowupError(
        "import.records",
        say(
            "{count} new records in one piece would keep everybody else waiting; at most {most} go in whole",
            count=count,
            most=MOST_RECORDS_AT_ONCE,
        ),
        fix=say("store the good rows, which goes in steps, or cut the file into several"),
    )


def _days(rows: Iterable[ImportRow]) -> dict[date, list[ImportRow]]:
    days: dict[date, list[ImportRow]] = {}
    for row in rows:
        if isinstance(row.says, ListedRow):
            days.setdefault(row.says.on, []).append(row)
    return days


def _add_to_list(unit: Unit, day: date, rows: Iterable[ImportRow], tally: ImportTally) -> None:
    stored = operation_list(unit.session, day)
    fresh = _fresh(rows, stored, tally)
    if fresh:
        put_operation_list(unit, day=day, lines=[*stored, *fresh])


def _fresh(rows: Iterable[ImportRow], stored: Iterable[ListLine], tally: ImportTally) -> list[ListLine]:
    """The lines that do not stand on the list yet, each counted."""
    known = {(fold_code(line.patient_code), line.eye) for line in stored}
    fresh = []
    for one in _lines_of(rows):
        if (one.code, one.line.eye) in known:
            tally.there.add(one.number)
        else:
            known.add((one.code, one.line.eye))
            fresh.append(one.line)
            tally.stored.add(one.number)
    tally.listed += len(fresh)
    return fresh


def _replace_lists(unit: Unit, rows: Iterable[ImportRow], tally: ImportTally) -> None:
    days: dict[date, list[ToAdd]] = {}
    seen: set[tuple[date, str, str]] = set()
    for one in _lines_of(rows):
        key = (one.on, one.code, one.line.eye)
        if key in seen:
            again = f"{one.line.patient_code} stands twice with the {one.line.eye} eye on {one.on}"
            tally.refuse([one.number], f"{again} - take one out")
            continue
        seen.add(key)
        days.setdefault(one.on, []).append(one)
    for day, some in sorted(days.items()):
        lines = [one.line for one in some]
        if tuple(lines) == operation_list(unit.session, day):
            tally.there |= {one.number for one in some}
        else:
            put_operation_list(unit, day=day, lines=lines)
            tally.stored |= {one.number for one in some}
            tally.listed += len(lines)


def _store_records(unit: Unit, told: Sequence[ToldRecord], prepared: _Prepared, tally: ImportTally) -> None:
    fresh, joining = _look_at_records(unit.session, told, prepared, tally)
    if tally.refused:
        return
    versions = enter_records(unit, [record for _, record in fresh])
    plans = (_plan_of(row, prepared) for row, _ in fresh)
    store_first_drafts(unit, zip(versions, plans, strict=True))
    for one in joining:
        if not one.still_holds(unit.session):
            raise _OvertakenError
        one.store(unit)


def _look_at_records(
    session: Session, told: Sequence[ToldRecord], prepared: _Prepared, tally: ImportTally
) -> tuple[list[ToldRecord], list[Joining]]:
    """Those of new patients and those of known ones that can be stored; every one is counted."""
    known = known_patients(session, (record.patient.code for _, record in told))
    first = _first_of_each(told, tally)
    joining = _joining(
        [one for one in first if fold_code(one[1].patient.code) in known], known, prepared, tally
    )
    new = [one for one in first if fold_code(one[1].patient.code) not in known]
    fresh = []
    for (row, record), refusal in zip(new, refusals(session, [record for _, record in new]), strict=True):
        plan = prepared.plans.get(row.numbers[0])
        if error := refusal or (plan if isinstance(plan, FollowupError) else None):
            tally.refuse(row.numbers, error.line)
        else:
            fresh.append((row, record))
            tally.records += 1
            tally.new |= {*row.numbers}
            tally.stored |= {*row.numbers}
    return fresh, joining


def _first_of_each(told: Iterable[ToldRecord], tally: ImportTally) -> list[ToldRecord]:
    """Without those that stand in the file in the same words before."""
    new: dict[str, Record] = {}
    found = []
    for row, record in told:
        code = fold_code(record.patient.code)
        if new.setdefault(code, record) is not record and new[code] == record:
            tally.there |= {*row.numbers}
        else:
            found.append((row, record))
    return found


def _joining(
    told: Iterable[ToldRecord], known: Mapping[str, KnownPatient], prepared: _Prepared, tally: ImportTally
) -> list[Joining]:
    """What known patients' rows bring; of one patient once."""
    found: dict[str, Joining] = {}
    for row, record in told:
        code, number = fold_code(record.patient.code), row.numbers[0]
        if number not in prepared.joins or prepared.seen.get(code) != known[code].record_number:
            raise _OvertakenError
        joining = prepared.joins[number]
        if joining is not None and code in found:
            joining = in_use(record.patient.code)
        if isinstance(joining, FollowupError):
            tally.refuse(row.numbers, joining.line)
        elif joining is None:
            tally.there |= {*row.numbers}
        else:
            found[code] = joining
            tally.joins(row, record, joining)
    return [*found.values()]


def _plan_of(row: ImportRow, prepared: _Prepared) -> WrittenPlan:
    """The plan that was built for a new patient's record."""
    plan = prepared.plans.get(row.numbers[0])
    if not isinstance(plan, WrittenPlan):
        raise conflict()
    return plan
