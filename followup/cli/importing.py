"""``followup import``: operation lists and records from a file, all of it or nothing."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path

import click

from followup.care.hand import Hand, hand_for
from followup.care.plans.planning import draft_plan
from followup.cli.contract import BAD_INPUT, CommandOutcome
from followup.cli.files import STDIN, read_bytes, write_out
from followup.cli.opening import COMMAND_LINE, folder_option, opened, settings_from
from followup.cli.rows import MOST_BYTES, ListedRow, Row, rows_of
from followup.cli.serving import desk_for
from followup.clinical.english import counted
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.language.entered import must_print
from followup.records.people.oplist import ListLine, operation_list, put_operation_list
from followup.records.people.patients import enter_record, newest_record, patient_by_code
from followup.records.store.sites import all_sites
from followup.records.store.store import Store, Unit
from followup.settings import Settings


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
def import_(file: str, folder: str | None, site: str | None, refused: str | None) -> CommandOutcome:
    """Store the rows of FILE: operative records and lines of operation lists. All of them, or none.

    One JSON object a line: a record (followup schema record), or an expected operation with the
    fields on, code, name and eye. A file that ends in .csv holds expected operations with these four
    columns. The list of a day is replaced by that of the file. A record also gets its draft plan.
    What is stored already in the same words is left alone: a second time does no harm. With a single
    refused row nothing is stored, and the refused ones are written to a file with the reasons.
    """
    settings = settings_from(folder)
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
    """Everything in one transaction; with a single refused row, nothing."""
    now, desk = datetime.now(UTC), desk_for(settings, store)
    hand = hand_for(desk.store, desk.protocol, desk.keyring, now=now)
    try:
        with store.write(COMMAND_LINE, now) as unit:
            _store_lists(unit, rows, counts)
            for row in rows:
                if isinstance(row.says, Record):
                    _store_record(unit, hand, row, row.says, counts)
            if counts.refused:
                raise _NothingStoredError
    except _NothingStoredError:
        return


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


def _store_record(unit: Unit, hand: Hand, row: Row, record: Record, counts: ImportTally) -> None:
    known = patient_by_code(unit.session, record.patient.code)
    if known is not None and newest_record(unit.session, known.id).record == record:
        counts.known += 1
        return
    try:
        must_print(record)
        draft_plan(unit, hand, enter_record(unit, record=record).patient_id)
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
