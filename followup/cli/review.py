"""``followup review``: the findings of one look in, proposals out; no database needed."""

from __future__ import annotations

from pathlib import Path

import click

from followup.cli.contract import BAD_INPUT
from followup.cli.contract import CommandOutcome as Ending
from followup.cli.files import read_object, read_record
from followup.cli.review_text import render_review
from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_findings
from followup.clinical.review.review import review as review_look
from followup.clinical.review.review import with_findings
from followup.timing.calendar import parse_calendar


@click.command()
@click.argument("record_file", metavar="RECORD.json")
@click.argument("findings_file", metavar="FINDINGS.json")
@click.option(
    "--calendar", "calendar_file", metavar="FILE", help="Open days and services; without it none is closed."
)
@click.option(
    "--protocol", "protocol_folder", metavar="DIR", help="The clinic's own protocol; without it the sample."
)
@click.option("--json", "as_json", is_flag=True, help="The proposals with every reason, as JSON.")
def review(
    record_file: str,
    findings_file: str,
    calendar_file: str | None,
    protocol_folder: str | None,
    as_json: bool,
) -> Ending:
    """Print what the findings of one look at one eye lead to. Nothing changes: a surgeon decides and signs.

    Earlier looks stand in the record; one of the two files may be "-", standard input.
    """
    record = read_record(record_file)
    findings = parse_findings(*read_object(findings_file))
    calendar = parse_calendar(*read_object(calendar_file)) if calendar_file else None
    protocol = load_protocol(Path(protocol_folder) if protocol_folder else None)
    outcome = review_look(record, protocol, findings, calendar=calendar)
    code, error = 0, ""
    if any(note.id == "by-hand" for note in outcome.notes):
        code, error = BAD_INPUT, f"{record.patient.code}: this protocol proposes nothing: followed by hand"
    if as_json:
        return Ending(outcome.model_dump_json(indent=2) + "\n", code, error)
    whole = with_findings(record, findings)
    now = build_plan(whole, protocol, as_of=findings.date, calendar=calendar)

    def signed(edits: tuple[Adjustment, ...]) -> CarePlan:
        return build_plan(whole, protocol, as_of=findings.date, calendar=calendar, edits=edits)

    return Ending(render_review(outcome, whole, protocol, now, signed) + "\n", code, error)
