"""``followup import``: operation lists and records from a file, all of it or, where asked, its good rows."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal

import click

from followup.care.records.importing import (
    Does,
    ImportRow,
    ImportTally,
    ListedRow,
    look_at,
    store_good,
    store_whole,
)
from followup.care.records.tables import mapping_of, read_table
from followup.cli.contract import BAD_INPUT, CommandOutcome
from followup.cli.files import STDIN, read_bytes, write_out
from followup.cli.hand import command_hand
from followup.cli.importing_all import bring_in_whole
from followup.cli.importing_fhir import draft_of_bundle
from followup.cli.opening import folder_option, opened, settings_from
from followup.cli.rows import MOST_BYTES, Row, rows_of
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.exchange.lists import table as lists
from followup.exchange.lists.text import read_as
from followup.records.store.sites import all_sites
from followup.records.store.store import Store
from followup.settings import Settings
from followup.typed import plain

Way = Literal["whole", "good", "look"]


@click.command("import")
@click.argument("file", metavar="FILE")
@folder_option
@click.option("--site", metavar="CODE", help="Site that the patients belong to; else the first one.")
@click.option("--refused", metavar="FILE", help="Where refused rows go; else beside FILE.")
@click.option(
    "--mapping", metavar="NAME", help="Read the clinic's own table (CSV, XLSX, ODS) by this mapping."
)
@click.option(
    "--rows",
    type=click.Choice(["whole", "good"]),
    default="whole",
    help="With --mapping: all rows or none, or those that are good.",
)
@click.option("--dry-run", is_flag=True, help="With --mapping: say what would be stored, and store nothing.")
@click.option("--all", "everything", is_flag=True, help="FILE is a whole clinic: fill an empty one with it.")
@click.option("--fhir", is_flag=True, help="FILE is a bundle of FHIR R4: draft a record, store nothing.")
@click.option("--out", metavar="FILE", help="With --fhir: where the draft goes.")
@click.option("--without-keys", is_flag=True, help="With --all: leave the keys of the codes where they are.")
def import_(
    file: str,
    folder: str | None,
    site: str | None,
    refused: str | None,
    mapping: str | None,
    rows: Literal["whole", "good"],
    dry_run: bool,
    everything: bool,
    fhir: bool,
    out: str | None,
    without_keys: bool,
) -> CommandOutcome:
    """Store the rows of FILE: operative records and lines of operation lists. All of them, or none.

    One JSON object a line: a record (followup schema record), or an expected operation with the
    fields on, code, name and eye. A file that ends in .csv holds expected operations with these four
    columns. The list of a day is replaced by that of the file. A record also gets its draft plan.
    What is stored already in the same words is left alone: a second time does no harm. With a single
    refused row nothing is stored, and the refused ones are written to a file with the reasons.

    With --mapping FILE is a table as the clinic keeps it, its columns and words read by a mapping
    (followup mapping). Its rows are added to the lists of their days, and give records where the
    mapping tells more; refused rows come back as the same kind of file. Another operation of a known
    patient joins the record. Up to 3,000 new patients go in whole; more go in steps, with --rows good.

    With --all FILE is an archive of followup export --all, and goes whole into a new folder or an empty
    database. Nobody has a password then: give one manager a new one with followup staff manager LOGIN.

    With --fhir FILE is a bundle of FHIR R4 of one patient. Patient, procedures, conditions and allergies
    give the draft of a record, written to a file; what it lacks is told line by line. Nothing is stored.
    """
    if mapping is None and (dry_run or rows != "whole"):
        raise click.UsageError("--dry-run and --rows need --mapping")
    if everything and (fhir or mapping is not None or site is not None or refused is not None):
        raise click.UsageError("--all goes with --folder and --without-keys alone")
    if without_keys and not everything:
        raise click.UsageError("--without-keys needs --all")
    if out is not None and not fhir:
        raise click.UsageError("--out needs --fhir")
    if fhir:
        return draft_of_bundle(file, folder, out)
    settings = settings_from(folder)
    if everything:
        return bring_in_whole(settings, Path(file).expanduser().absolute(), with_keys=not without_keys)
    if mapping is not None:
        return _table(settings, file, site, refused, mapping, "look" if dry_run else rows)
    return _plain(settings, file, site, refused)


def _plain(settings: Settings, file: str, site: str | None, refused: str | None) -> CommandOutcome:
    """The program's own two forms."""
    given = rows_of(read_bytes(file, MOST_BYTES), file)
    bad = {row.number: row.says for row in given if isinstance(row.says, str)}
    if bad:
        return _handed_back(given, bad, _refused_file(file, refused, ".refused.jsonl"))
    with opened(settings) as store:
        hand = command_hand(settings, _at_site(store, site))
        tally = store_whole(
            hand, [ImportRow((row.number,), row.says) for row in given if not isinstance(row.says, str)]
        )
    if tally.refused:
        bad = {number: f"row {number}: {why}" for number, why in tally.refused.items()}
        return _handed_back(given, bad, _refused_file(file, refused, ".refused.jsonl"))
    return CommandOutcome(f"{_stored(tally)} stored{_known(tally)}.\n")


def _read_as(form: lists.FileForm) -> str:
    told = plain(read_as(form))
    return f"{told}\n" if told else ""


_DOES: dict[Does, str] = {
    "new": "new patient",
    "another": "another operation of a known patient",
    "listed": "line of a list",
    "there": "already here",
}


def _row_by_row(rows: Sequence[ImportRow], tally: ImportTally) -> str:
    """What each line of the table will do, refused ones left out: their reasons are told elsewhere."""
    told = sorted(
        (row.numbers[0], row.says)
        for row in rows
        if isinstance(row.says, ListedRow) and row.numbers[0] not in tally.refused
    )
    return "".join(
        f"row {number}: {says.code}, {says.eye} eye, {says.on}: {_DOES[tally.does(number)]}\n"
        for number, says in told
    )


def _table(
    settings: Settings,
    file: str,
    site: str | None,
    refused: str | None,
    mapping: str,
    way: Way,
) -> CommandOutcome:
    """A clinic's own table; ``way``: which rows are stored, or none."""
    content = read_bytes(file, lists.MOST_BYTES)
    with opened(settings) as store:
        hand = command_hand(settings, _at_site(store, site))
        read = read_table(content, Path(file).name, mapping_of(hand, mapping))
        if way == "look" or (way == "whole" and read.refused):
            tally = look_at(hand, read.says)
        elif way == "whole":
            tally = store_whole(hand, read.says, adding=True)
        else:
            tally = store_good(hand, read.says)
    tally = tally.with_refused(read.refused)
    stored = "would be stored" if way == "look" else "stored"
    text = f"{_stored(tally)} {stored}{_known(tally)}.\n"
    if way == "look":
        text = f"{_read_as(read.form)}{_row_by_row(read.says, tally)}{text}"
    if not tally.refused:
        return CommandOutcome(text)
    target = _refused_file(file, refused, f".refused.{read.form.kind}")
    if target is not None:
        write_out(target, read.back(tally.refused))
    why = {number: f"row {number}: {why}" for number, why in tally.refused.items()}
    return CommandOutcome(
        "" if way == "whole" else text, BAD_INPUT, _refusal(why, target, whole=way == "whole")
    )


def _stored(tally: ImportTally) -> str:
    records, lines = counted(tally.records, "record", "records"), counted(tally.listed, "line", "lines")
    others = counted(tally.operations, "operation of a known patient", "operations of known patients")
    also = f", {others}" if tally.operations else ""
    return f"{records}{also} and {lines} of operation lists"


def _known(tally: ImportTally) -> str:
    return f"; {counted(tally.known, 'row was', 'rows were')} there already" if tally.known else ""


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


def _refused_file(file: str, given: str | None, ending: str) -> Path | None:
    if given is not None:
        return Path(given).expanduser().absolute()
    path = Path(file).expanduser().absolute()
    return None if file == STDIN else path.with_name(f"{path.name}{ending}")


def _handed_back(rows: Sequence[Row], refused: Mapping[int, str], target: Path | None) -> CommandOutcome:
    """The refused rows in a file of their own, in their order, each with its reason."""
    if target is not None:
        lines = [
            json.dumps({"row": row.number, "why": refused[row.number], "given": row.text}, ensure_ascii=False)
            for row in rows
            if row.number in refused
        ]
        write_out(target, ("\n".join(lines) + "\n").encode())
    return CommandOutcome(code=BAD_INPUT, error=_refusal(refused, target, whole=True))


def _refusal(refused: Mapping[int, str], target: Path | None, *, whole: bool) -> str:
    told = f"{counted(len(refused), 'row was', 'rows were')} refused"
    nothing = " and nothing was stored" if whole else ""
    first = f"{told}{nothing}: {refused[min(refused)]}"
    return f"{first}; each with its reason in {target}" if target else first
