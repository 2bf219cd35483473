"""``followup audit``: outcomes of a span of days, counts alone, small ones masked."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date
from pathlib import Path

import click

from followup.care.house.auditing import audit_of, told_audit
from followup.cli.contract import CommandOutcome, visible
from followup.cli.files import DayOption, write_out
from followup.cli.hand import command_hand
from followup.cli.opening import folder_option, opened, settings_from
from followup.exchange.audit.document import CONVENTIONS, LIMITS, AuditDocument, AuditTable
from followup.exchange.audit.flat import as_csv
from followup.exchange.audit.paper import audit_pdf
from followup.language.languages import ENGLISH


@click.command()
@folder_option
@click.option("--from", "begin", type=DayOption(), help="First day; without it five months before the last.")
@click.option("--to", "end", type=DayOption(), help="Last day; without it today at the clinic.")
@click.option("--csv", "table", metavar="FILE", help="Write one flat table, its dictionary in it.")
@click.option("--pdf", "paper", metavar="FILE", help="Write it on paper.")
@click.option("--json", "as_json", is_flag=True, help="Print the flat table as JSON.")
def audit(
    folder: str | None,
    begin: date | None,
    end: date | None,
    table: str | None,
    paper: str | None,
    as_json: bool,
) -> CommandOutcome:
    """Print the outcome audit: vision, events, later findings and follow-up, small numbers masked."""
    settings = settings_from(folder)
    with opened(settings) as store:
        hand = command_hand(settings, store)
        found = audit_of(hand, begin, end)
        told = told_audit(hand, found)
    if table is not None:
        write_out(Path(table), as_csv(told.rows))
    if paper is not None:
        pdf = audit_pdf(told.document, hand.clinic.name, ENGLISH, _word, found.today)
        write_out(Path(paper), pdf)
    if as_json:
        rows = [asdict(row) for row in told.rows]
        return CommandOutcome(json.dumps(rows, indent=2, ensure_ascii=False) + "\n")
    written = [f"Written: {name}" for name in (table, paper) if name is not None]
    return CommandOutcome(visible("\n".join(written or _lines(told.document))) + "\n")


def _word(text: str | date) -> str:
    return f"{text:%Y-%m}" if isinstance(text, date) else str(text)


def _lines(told: AuditDocument) -> Iterator[str]:
    yield f"{told.title}. {told.span}."
    for title, lines in ((LIMITS, told.limits), (CONVENTIONS, told.conventions)):
        yield from ("", str(title), *(f"  {line}" for line in lines))
    for table in told.tables:
        yield from ("", str(table.title), *_table(table))


def _table(table: AuditTable) -> Iterator[str]:
    rows = [[str(head) for head in table.heads]]
    rows += [[_word(line.head), *map(str, line.cells)] for line in table.lines]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        first, *rest = (
            text.ljust(width) if place == 0 else text.rjust(width)
            for place, (text, width) in enumerate(zip(row, widths, strict=True))
        )
        yield "  ".join(("", first, *rest)).rstrip()
    if table.note:
        yield f"  {table.note}"
