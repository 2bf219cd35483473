"""``followup mapping``: how the clinic's own tables are read by ``followup import --mapping``."""

from __future__ import annotations

import json
from pathlib import Path

import click

from followup.care.records.tables import asked_fields, keep_mapping, mapping_from, mapping_of
from followup.cli.contract import CommandOutcome, visible
from followup.cli.files import read_bytes, read_object
from followup.cli.hand import command_hand
from followup.cli.opening import folder_option, opened, settings_from
from followup.errors import FollowupError
from followup.exchange.lists.mapping import ListMapping, guessed
from followup.exchange.lists.table import MOST_BYTES
from followup.exchange.lists.workbook import read_file
from followup.records.house.mappings import mapping_names


@click.group()
def mapping() -> None:
    """Which columns and words of the clinic's own tables mean what."""


@mapping.command("list")
@folder_option
def list_mappings(folder: str | None) -> CommandOutcome:
    """Print the names of the mappings."""
    with opened(settings_from(folder)) as store, store.read() as session:
        names = mapping_names(session)
    return CommandOutcome(visible("".join(f"{name}\n" for name in names)))


@mapping.command()
@click.argument("name")
@folder_option
def show(name: str, folder: str | None) -> CommandOutcome:
    """Print the mapping NAME as JSON."""
    settings = settings_from(folder)
    with opened(settings) as store:
        return CommandOutcome(_json(mapping_of(command_hand(settings, store), name)))


@mapping.command()
@click.argument("name")
@click.argument("file", metavar="FILE")
@folder_option
def put(name: str, file: str, folder: str | None) -> CommandOutcome:
    """Keep the mapping in the JSON file FILE under NAME, in place of the one that stood there.

    "columns" holds by field the clinic's name of its column, "words" by field what its words mean,
    "day_order" how days written as text are read ("day month year", "month day year" or "year month
    day"), "sheet" which sheet of several. The fields are printed by: followup mapping fields.
    """
    settings = settings_from(folder)
    told = mapping_from(read_object(file)[0])
    with opened(settings) as store:
        keep_mapping(command_hand(settings, store), name, told)
    return CommandOutcome()


@mapping.command()
@click.argument("file", metavar="FILE")
def guess(file: str) -> CommandOutcome:
    """Print as JSON how FILE, a table, could be read, by the usual names; look at it before it is kept."""
    tables = [one for one in read_file(read_bytes(file, MOST_BYTES), Path(file).name).tables if one.rows]
    if not tables:
        raise FollowupError("list.empty", "the file holds no rows", where=file, fix="give another file")
    best = max((guessed(table, asked_fields())[1] for table in tables), key=lambda found: len(found.columns))
    return CommandOutcome(_json(best))


@mapping.command()
def fields() -> CommandOutcome:
    """Print every field that a column may be, with the words that it takes."""
    lines = [f"{name}: {', '.join(asked.choices) or asked.kind}\n" for name, asked in asked_fields().items()]
    return CommandOutcome("".join(lines))


def _json(found: ListMapping) -> str:
    told = found.model_dump(mode="json", exclude_defaults=True)
    return visible(json.dumps(told, ensure_ascii=False, indent=2)) + "\n"
