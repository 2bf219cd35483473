"""``followup sheet``: the draft of a record's sheet, or the sheets of the clinic's database."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click
from sqlmodel import Session

from followup.cli.contract import BAD_INPUT, Outcome
from followup.cli.files import Day, read_record, write_whole
from followup.cli.opening import folder_option, opened, settings_from
from followup.cli.plan import refusal
from followup.cli.serving import desk_for
from followup.cli.words import counted
from followup.clinical.plan import build_plan
from followup.clinical.protocol import load_protocol
from followup.desks.desk import Desk, Visit
from followup.desks.plans import record_of
from followup.desks.sheets import clinic_info, content_of
from followup.errors import FollowupError
from followup.recall.codes import new_sheet_id
from followup.records.clinics import get_clinic
from followup.records.oplist import operations_on
from followup.records.patients import patient_by_code
from followup.records.plans import active_plan, open_draft
from followup.records.plans import plan as stored_plan
from followup.records.protocols import protocol_signature
from followup.records.sheets import issue_sheet, sheets_of
from followup.records.views import Actor, PlanVersion
from followup.sheets.content import ClinicInfo, build_content, sheet_language
from followup.sheets.model import SheetContent
from followup.sheets.pdf import render_pdf
from followup.sheets.phone import render_phone

COMMAND_LINE = Actor("command line")

# What stands on the draft of a record that belongs to no clinic's database.
NO_CLINIC = ClinicInfo(
    name="Clinic: ..........",
    code="",
    telephone_day="..........",
    telephone_night="..........",
    nearest_eye_clinic=None,
    time_zone="UTC",
)


@click.command()
@click.argument("record_file", metavar="[RECORD.json]", required=False)
@folder_option
@click.option("--plan", "plan_id", metavar="ID", help="A stored plan: its number, or the patient's code.")
@click.option("--day", type=Day(), help="The plans of everybody operated on this day.")
@click.option("--language", metavar="L", help="Language to print in, such as bn; else the patient's.")
@click.option("--html", is_flag=True, help="One page for a phone instead of a PDF.")
@click.option("--out", metavar="FILE", help="Where to write it; with --day the folder.")
def sheet(
    record_file: str | None,
    folder: str | None,
    plan_id: str | None,
    day: date | None,
    language: str | None,
    html: bool,
    out: str | None,
) -> Outcome:
    """Write the patient's sheet as PDF: a draft unless the plan is signed.

    Give a record, --plan or --day. A signed plan's first sheet gets its return code here; later
    its newest sheet is written again.
    """
    if sum(given is not None for given in (record_file, plan_id, day)) != 1:
        raise click.UsageError("Give one of RECORD.json, --plan and --day", click.get_current_context())
    write = _writer(html)
    if record_file is not None:
        return _draft(record_file, language, out, write, ".html" if html else ".pdf")
    settings = settings_from(folder)
    with opened(settings) as store:
        printer = Printer(desk_for(settings, store), language, write, ".html" if html else ".pdf")
        if plan_id is not None:
            return printer.one(plan_id, out)
        assert day is not None
        return printer.day(day, Path(out or f"sheets-{day}"))


def _writer(html: bool) -> Callable[[SheetContent], bytes]:
    return (lambda content: render_phone(content).encode()) if html else render_pdf


def _draft(
    record_file: str,
    language: str | None,
    out: str | None,
    write: Callable[[SheetContent], bytes],
    suffix: str,
) -> Outcome:
    record = read_record(record_file)
    protocol = load_protocol()
    made = build_plan(record, protocol, as_of=record.last_operation_day)
    code, line = refusal(made, record)
    if code:
        return Outcome(code=code, error=line)
    content = build_content(
        made, record, protocol.formulary, NO_CLINIC, language=language, printed_on=made.as_of
    )
    path = _target(out, f"sheet-{record.patient.code}{suffix}")
    write_whole(path, write(content), never=record_file)
    notice = sheet_language(record, language).notice
    return Outcome(f"{path}: a draft, not for the patient.\n" + (f"{notice}\n" if notice else ""))


class Printer:
    """Writes sheets of the clinic's stored plans."""

    def __init__(
        self, desk: Desk, language: str | None, write: Callable[[SheetContent], bytes], suffix: str
    ) -> None:
        self.desk, self.language, self.write, self.suffix = desk, language, write, suffix
        with desk.store.read() as session:
            signature = protocol_signature(session, desk.protocol.hash)
            self.visit = Visit(desk, get_clinic(session), datetime.now(UTC), None, signature)

    def one(self, plan_id: str, out: str | None) -> Outcome:
        """One plan's sheet."""
        with self.desk.store.read() as session:
            version = self._version(session, plan_id)
        page, kind = self._page(version)
        path = _target(out, f"sheet-{version.patient_code}{self.suffix}")
        write_whole(path, page)
        return Outcome(f"{path}: {kind}\n")

    def day(self, day: date, folder: Path) -> Outcome:
        """The sheets of everybody operated on ``day``; one that fails does not stop the others."""
        with self.desk.store.read() as session:
            codes = [line.patient_code for line in operations_on(session, day) if line.patient_id]
        done, failed = [], []
        for code in dict.fromkeys(codes):
            try:
                with self.desk.store.read() as session:
                    version = self._version(session, code)
                page, kind = self._page(version)
                folder.mkdir(parents=True, exist_ok=True)
                write_whole(folder / f"sheet-{code}{self.suffix}", page)
                done.append(f"{folder / f'sheet-{code}{self.suffix}'}: {kind}\n")
            except FollowupError as exc:
                failed.append(f"{code}: {exc.line}")
        if not codes:
            return Outcome(code=BAD_INPUT, error=f"nobody with a record was operated on {day}")
        problem = f"{counted(len(failed), 'sheet', 'sheets')} not written: {'; '.join(failed)}"
        return Outcome("".join(done), BAD_INPUT if failed else 0, problem if failed else "")

    def _version(self, session: Session, plan_id: str) -> PlanVersion:
        """The plan with this number, or the patient's plan in force, or the draft that waits."""
        if plan_id.isascii() and plan_id.isdecimal() and len(plan_id) < 18:
            return stored_plan(session, int(plan_id))
        patient = patient_by_code(session, plan_id)
        version = (active_plan(session, patient.id) or open_draft(session, patient.id)) if patient else None
        if version is None:
            raise FollowupError(
                "sheet.plan", f"no plan of {plan_id} is in force or waits", fix="look at the patient's page"
            )
        return version

    def _page(self, version: PlanVersion) -> tuple[bytes, str]:
        if version.status == "active":
            return self._issued(version), "signed; mark it handed over when the patient has it."
        with self.desk.store.read() as session:
            record = record_of(session, version).record
        today = datetime.now(UTC).astimezone(ZoneInfo(self.visit.clinic.zone)).date()
        content = build_content(
            version.body,
            record,
            self.desk.protocol.formulary,
            clinic_info(self.visit),
            language=self.language,
            printed_on=today,
        )
        return self.write(content), "a draft, not for the patient."

    def _issued(self, version: PlanVersion) -> bytes:
        """The newest sheet of a signed plan; the first is issued under a new code."""
        with self.desk.store.write(COMMAND_LINE, self.visit.now) as unit:
            known = [s for s in sheets_of(unit.session, version.patient_id) if s.plan_id == version.id]
            language = sheet_language(record_of(unit.session, version).record, self.language).language.tag
            same = [s for s in known if self.language is None or s.language == language]
            if known and not same:
                raise FollowupError(
                    "sheet.language",
                    f"the sheet of {version.patient_code} was printed in {known[-1].language}",
                    fix="print it in another language at the counsellor's desk, with the reason",
                )
            found = (
                same[-1]
                if same
                else issue_sheet(unit, plan_id=version.id, sheet_id=new_sheet_id(), language=language)
            )
            # Laid out before it is stored: the code of a sheet that can't be printed would name nothing.
            return self.write(content_of(unit.session, self.visit, found))


def _target(out: str | None, usual: str) -> Path:
    path = Path(out or usual)
    if out is None and path.exists():
        raise FollowupError("file.write", "it exists already", where=usual, fix="name a file with --out")
    return path
