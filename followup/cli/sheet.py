"""``followup sheet``: the draft of a record's sheet, or the sheets of the clinic's database."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import click

from followup.cli.contract import CommandOutcome
from followup.cli.files import DayOption, read_record, target, write_out
from followup.cli.plan import refusal
from followup.cli.sheet_options import choices_of, look_options
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.sheets.content import ClinicInfo, build_content, sheet_language
from followup.sheets.model import SheetContent
from followup.sheets.options import SheetChoices, usual_options
from followup.sheets.paper.pdf import render_pdf
from followup.sheets.phone import render_phone

# What stands on the draft of a record that belongs to no clinic's database.
NO_CLINIC = ClinicInfo(
    name="....................",
    code="",
    telephone_day="..........",
    telephone_night="..........",
    nearest_eye_clinic=None,
    time_zone="UTC",
)


@click.command()
@click.argument("record_file", metavar="[RECORD.json]", required=False)
@click.option("--folder", metavar="DIR", help="Folder of the clinic's data.")
@click.option("--plan", "plan_id", metavar="ID", help="A stored plan: its number, or the patient's code.")
@click.option("--day", type=DayOption(), help="The plans of everybody operated on this day.")
@click.option("--language", metavar="L", help="Language to print in, such as bn; else the patient's.")
@click.option("--html", is_flag=True, help="One page for a phone instead of a PDF.")
@look_options
@click.option(
    "--together",
    is_flag=True,
    help="With --day: one PDF for printing on both sides, with a list to tick off.",
)
@click.option(
    "--out", metavar="FILE", help="Where to write it; with --day the folder, or with --together the file."
)
def sheet(
    record_file: str | None,
    folder: str | None,
    plan_id: str | None,
    day: date | None,
    language: str | None,
    html: bool,
    together: bool,
    out: str | None,
    **look: object,
) -> CommandOutcome:
    """Write the patient's sheet as PDF: a draft unless the plan is signed.

    Give a record, --plan or --day. A signed plan's first sheet gets its return code here; later
    its newest sheet is written again.
    """
    if sum(given is not None for given in (record_file, plan_id, day)) != 1:
        raise click.UsageError("Give one of RECORD.json, --plan and --day", click.get_current_context())
    if together and (day is None or html):
        raise click.UsageError("--together goes with --day, and not with --html", click.get_current_context())
    write, choices = _writer(html), choices_of(look)
    if record_file is not None:
        return _draft(record_file, language, out, write, ".html" if html else ".pdf", choices)
    # The draft of a record needs no database, and starts in half the time without what opens one.
    from followup.cli.printer import printing

    with printing(folder, language, write, ".html" if html else ".pdf", choices) as printer:
        if plan_id is not None:
            return printer.one(plan_id, out)
        assert day is not None
        if together:
            return printer.day_together(day, target(out, f"sheets-{day}.pdf"))
        return printer.day(day, Path(out or f"sheets-{day}"))


def _writer(html: bool) -> Callable[[SheetContent], bytes]:
    return (lambda content: render_phone(content).encode()) if html else render_pdf


def _draft(
    record_file: str,
    language: str | None,
    out: str | None,
    write: Callable[[SheetContent], bytes],
    suffix: str,
    choices: SheetChoices,
) -> CommandOutcome:
    record = read_record(record_file)
    protocol = load_protocol()
    made = build_plan(record, protocol, as_of=record.last_operation_day)
    code, line = refusal(made, record)
    if code:
        return CommandOutcome(code=code, error=line)
    content = build_content(
        made,
        record,
        protocol.formulary,
        NO_CLINIC,
        language=language,
        printed_on=made.as_of,
        aftercare=protocol.aftercare,
        options=usual_options(record, choices),
    )
    path = target(out, f"sheet-{record.patient.code}{suffix}")
    write_out(path, write(content), never=record_file)
    notice = sheet_language(record, language).notice
    return CommandOutcome(f"{path}: a draft, not for the patient.\n" + (f"{notice}\n" if notice else ""))
