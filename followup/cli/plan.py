"""``followup plan``: a record in, the whole plan out; no database needed."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from followup.cli.contract import BAD_INPUT, CommandOutcome
from followup.cli.files import DayOption, read_object, read_record
from followup.cli.plan_text import render_plan
from followup.cli.why import explained, write_chart
from followup.clinical.careplan import CarePlan
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record
from followup.timing.calendar import parse_calendar


@click.command()
@click.argument("record_file", metavar="RECORD.json", type=click.Path())
@click.option(
    "--as-of", type=DayOption(), help="Day the plan is made for; without it the last operation's day."
)
@click.option(
    "--calendar", "calendar_file", metavar="FILE", help="Open days and services; without it none is closed."
)
@click.option(
    "--protocol", "protocol_folder", metavar="DIR", help="The clinic's own protocol; without it the sample."
)
@click.option("--json", "as_json", is_flag=True, help="The plan with every reason, as JSON.")
@click.option(
    "--why",
    "target",
    metavar="[LINE]",
    is_flag=False,
    flag_value="",
    help="At the end: all lines with why they are so; or why one is: COURSE, COURSE#BOTTLE, TRIP, CAUTION...",
)
@click.option("--chart", metavar="FILE.svg", help="Also draw drops, findings and visits over time.")
def plan(
    record_file: str,
    as_of: date | None,
    calendar_file: str | None,
    protocol_folder: str | None,
    as_json: bool,
    target: str | None,
    chart: str | None,
) -> CommandOutcome:
    """Print the whole plan that follows from one operative record ("-": standard input)."""
    record = read_record(record_file)
    calendar = parse_calendar(*read_object(calendar_file)) if calendar_file else None
    protocol = load_protocol(Path(protocol_folder) if protocol_folder else None)
    made = build_plan(record, protocol, as_of=as_of or record.last_operation_day, calendar=calendar)
    if chart:
        write_chart(chart, made, record, protocol, record_file)
    if target:
        text = explained(made, protocol, target, as_json=as_json)
    elif as_json:
        text = made.model_dump_json(indent=2)
    else:
        text = render_plan(made, record, protocol, reasons=target is not None)
    return CommandOutcome(text + "\n", *refusal(made, record))


def refusal(made: CarePlan, record: Record) -> tuple[int, str]:
    """Exit code and line of a plan that must be made by hand; (0, "") for any other."""
    if not made.refused:
        return 0, ""
    reasons = "; ".join(caution.text for caution in made.refused)
    return BAD_INPUT, f"{record.patient.code}: no plan from this protocol: {reasons}"
