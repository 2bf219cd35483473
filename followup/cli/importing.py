"""``followup import``: operation lists and records from a file, all of it or nothing."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import click

from followup.care.hand import Hand
from followup.care.plans.planning import planned_first
from followup.cli.contract import BAD_INPUT, CommandOutcome
from followup.cli.files import STDIN, read_bytes, write_out
from followup.cli.hand import command_hand
from followup.cli.importing_all import bring_in_whole
from followup.cli.opening import COMMAND_LINE, folder_option, opened, settings_from
from followup.cli.rows import MOST_BYTES, ListedRow, Row, rows_of
from followup.clinical.careplan import read_stored, to_store
from followup.clinical.english import counted
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.language.entered import must_print
from followup.records.people.oplist import ListLine, operation_list, put_operation_list
from followup.records.people.patients import enter_record, newest_record, patient_by_code
from followup.records.plans.plans import store_draft
from followup.records.store.sites import all_sites
from followup.records.store.store import Store, Unit, conflict
from followup.records.trips.places import planning_calendar
from followup.settings import Settings
from followup.timing.calendar import Calendar

# How often plans are built again because the clinic's places changed meanwhile.
_TRIES = 5


@dataclass
class ImportTally:
    """What was stored, what was there already, and the rows that were refused with the reason."""

    records: int = 0
    listed: int = 0
    known: int = 0
    refused: list[tuple[Row, str]] = field(default_factory=list)


class _NothingStoredError(Exception):
    """Ends the transaction without storing anything."""


@click.command("import")
@click.argument("file", metavar="FILE")
@folder_option
@click.option("--site", metavar="CODE", help="Site that the patients belong to; else the first one.")
@click.option("--refused", metavar="FILE", help="Where refused rows go; else beside FILE.")
@click.option("--all", "whole", is_flag=True, help="FILE is a whole clinic: fill an empty one with it.")
@click.option("--without-keys", is_flag=True, help="With --all: leave the keys of the codes where they are.")
def import_(
    file: str, folder: str | None, site: str | None, refused: str | None, whole: bool, without_keys: bool
) -> CommandOutcome:
    """Store the rows of FILE: operative records and lines of operation lists. All of them, or none.

    One JSON object a line: a record (followup schema record), or an expected operation with the
    fields on, code, name and eye. A file that ends in .csv holds expected operations with these four
    columns. The list of a day is replaced by that of the file. A record also gets its draft plan.
    What is stored already in the same words is left alone: a second time does no harm. With a single
    refused row nothing is stored, and the refused ones are written to a file with the reasons.

    With --all FILE is an archive of followup export --all, and goes whole into a new folder or an empty
    database. Nobody has a password then: give one manager a new one with followup staff manager LOGIN.
    """
    settings = settings_from(folder)
    if whole:
        return bring_in_whole(settings, Path(file).expanduser().absolute(), with_keys=not without_keys)
    rows = rows_of(read_bytes(file, MOST_BYTES), file)
    counts = ImportTally(refused=[(row, row.says) for row in rows if isinstance(row.says, str)])
    with opened(settings) as store:
        if not counts.refused:
            _store(settings, _at_site(store, site), rows, counts)
    if counts.refused:
        return _handed_back(counts, _refused_file(file, refused))
    told = f"{counted(counts.records, 'record', 'records')} and {counted(counts.listed, 'line', 'lines')}"
    known = f"; {counted(counts.known, 'row was', 'rows were')} there already" if counts.known else ""
    return CommandOutcome(f"{told} of operation lists stored{known}.\n")


def _store(settings: Settings, store: Store, rows: list[Row], counts: ImportTally) -> None:
    """Everything in one transaction; with a single refused row, nothing.

    The plans are built before it, while everybody else works on; where the clinic's places have changed
    meanwhile they are built again.
    """
    hand = command_hand(settings, store)
    for _ in range(_TRIES):
        tally = replace(counts, refused=list(counts.refused))
        prepared = _prepare(store, hand, rows)
        try:
            with store.write(COMMAND_LINE, hand.now) as unit:
                if planning_calendar(unit.session) != prepared.calendar:
                    continue
                _store_all(unit, rows, prepared, tally)
        except _NothingStoredError:
            pass
        vars(counts).update(vars(tally))
        return
    raise conflict()


@dataclass(frozen=True)
class _Prepared:
    """By row the first plan of each new record as it is stored, or what keeps it from having one.

    ``unprintable``: by row what keeps a record from being printed, and so from being stored.
    """

    calendar: Calendar
    plans: dict[int, str | FollowupError]
    unprintable: dict[int, FollowupError]


def _prepare(store: Store, hand: Hand, rows: Iterable[Row]) -> _Prepared:
    with store.read() as session:
        calendar = planning_calendar(session)
        new = [
            (row.number, row.says)
            for row in rows
            if isinstance(row.says, Record) and patient_by_code(session, row.says.patient.code) is None
        ]
    return _Prepared(
        calendar,
        {number: _first_plan(hand, record, calendar) for number, record in new},
        {number: error for number, record in new if (error := _unprintable(record))},
    )


def _first_plan(hand: Hand, record: Record, calendar: Calendar) -> str | FollowupError:
    try:
        return to_store(planned_first(hand, record, calendar))
    except FollowupError as error:
        return error


def _unprintable(record: Record) -> FollowupError | None:
    try:
        must_print(record)
    except FollowupError as error:
        return error
    return None


def _store_all(unit: Unit, rows: Iterable[Row], prepared: _Prepared, tally: ImportTally) -> None:
    _store_lists(unit, rows, tally)
    for row in rows:
        if isinstance(row.says, Record):
            _store_record(unit, row, row.says, prepared, tally)
    if tally.refused:
        raise _NothingStoredError


def _store_lists(unit: Unit, rows: Iterable[Row], counts: ImportTally) -> None:
    days: dict[date, list[ListLine]] = {}
    seen: set[tuple[date, str, str]] = set()
    for row in rows:
        if isinstance(line := row.says, ListedRow):
            key = (line.on, line.code.casefold(), line.eye)
            if key in seen:
                again = f"row {row.number}: {line.code} stands twice with the {line.eye} eye on {line.on}"
                counts.refused.append((row, f"{again} - take one out"))
                continue
            seen.add(key)
            days.setdefault(line.on, []).append(ListLine(line.code, line.name, line.eye))
    for day, lines in sorted(days.items()):
        if tuple(lines) == operation_list(unit.session, day):
            counts.known += len(lines)
        else:
            put_operation_list(unit, day=day, lines=lines)
            counts.listed += len(lines)


def _store_record(unit: Unit, row: Row, record: Record, prepared: _Prepared, counts: ImportTally) -> None:
    known = patient_by_code(unit.session, record.patient.code)
    if known is not None and newest_record(unit.session, known.id).record == record:
        counts.known += 1
        return
    plan = prepared.plans.get(row.number)
    try:
        if row.number in prepared.unprintable:
            raise prepared.unprintable[row.number]
        version = enter_record(unit, record=record)
        if isinstance(plan, FollowupError):
            raise plan
        if plan is None:
            raise conflict()
        store_draft(unit, patient_id=version.patient_id, record_number=version.number, body=read_stored(plan))
    except FollowupError as error:
        counts.refused.append((row, f"row {row.number}: {error.line}"))
    else:
        counts.records += 1


def _at_site(store: Store, code: str | None) -> Store:
    if code is None:
        return store
    with store.read() as session:
        found = {site.code: site.id for site in all_sites(session)}
    if code not in found:
        raise FollowupError(
            "site.unknown", f"there is no site {code}", where="--site", fix="look at: followup site list"
        )
    return store.for_site(found[code])


def _refused_file(file: str, given: str | None) -> Path | None:
    if given is not None:
        return Path(given).expanduser().absolute()
    path = Path(file).expanduser().absolute()
    return None if file == STDIN else path.with_name(f"{path.name}.refused.jsonl")


def _handed_back(counts: ImportTally, target: Path | None) -> CommandOutcome:
    """The refused rows in a file of their own, in their order, each with its reason."""
    found = sorted(counts.refused, key=lambda refused: refused[0].number)
    if target is not None:
        lines = [
            json.dumps({"row": row.number, "why": why, "given": row.text}, ensure_ascii=False)
            for row, why in found
        ]
        write_out(target, ("\n".join(lines) + "\n").encode())
    told = f"{counted(len(found), 'row was', 'rows were')} refused and nothing was stored: {found[0][1]}"
    return CommandOutcome(
        code=BAD_INPUT, error=f"{told}; each with its reason in {target}" if target else told
    )
