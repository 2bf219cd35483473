"""Printing the sheets of the clinic's stored plans: one, a day's one by one, or a day's together."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TypeVar

import click

from followup.care.hand import Hand
from followup.care.plans.plan_view import record_of
from followup.care.sheets.content import (
    clinic_info,
    content_of,
    issue_one,
    look_of_plan,
    plans_printed,
    printed_options,
    staff_language,
)
from followup.cli.contract import BAD_INPUT, CommandOutcome
from followup.cli.files import target, write_out
from followup.cli.hand import command_hand
from followup.cli.opening import opened, settings_from
from followup.clinical.english import counted
from followup.errors import FollowupError
from followup.records.people.oplist import operations_on
from followup.records.people.patients import patient_by_code
from followup.records.plans.plans import active_plan, open_draft
from followup.records.plans.plans import plan as stored_plan
from followup.records.plans.sheets import sheets_of
from followup.records.store.store import Session
from followup.records.views import PlanVersion, SheetView
from followup.sheets.content import build_content, sheet_language
from followup.sheets.model import SheetContent
from followup.sheets.options import SheetChoices
from followup.sheets.paper.batch import BatchSheet, render_batch

T = TypeVar("T")


@contextmanager
def printing(
    folder: str | None,
    language: str | None,
    write: Callable[[SheetContent], bytes],
    suffix: str,
    choices: SheetChoices,
) -> Iterator[Printer]:
    """What prints the plans of the clinic in ``folder``, its database open meanwhile."""
    settings = settings_from(folder)
    with opened(settings) as store:
        yield Printer(command_hand(settings, store), language, write, suffix, choices)


class Printer:
    """Writes sheets of the clinic's stored plans."""

    def __init__(
        self,
        hand: Hand,
        language: str | None,
        write: Callable[[SheetContent], bytes],
        suffix: str,
        choices: SheetChoices,
    ) -> None:
        self.language, self.write, self.suffix = language, write, suffix
        self.choices, self.hand = choices, hand

    def one(self, plan_id: str, out: str | None) -> CommandOutcome:
        """One plan's sheet."""
        with self.hand.store.read() as session:
            version = self._version(session, plan_id)
        page, kind = self._made(version, self.write)
        path = target(out, f"sheet-{version.patient_code}{self.suffix}")
        write_out(path, page)
        return CommandOutcome(f"{path}: {kind}\n")

    def day(self, day: date, folder: Path) -> CommandOutcome:
        """The sheets of everybody operated on ``day``; one that fails does not stop the others."""
        done, failed = [], []
        for code in self._codes(day):
            try:
                with self.hand.store.read() as session:
                    version = self._version(session, code)
                page, kind = self._made(version, self.write)
                folder.mkdir(parents=True, exist_ok=True, mode=0o700)
                write_out(folder / f"sheet-{code}{self.suffix}", page)
                done.append(f"{folder / f'sheet-{code}{self.suffix}'}: {kind}\n")
            except FollowupError as exc:
                failed.append(f"{code}: {exc.line}")
        return result("".join(done), failed)

    def day_together(self, day: date, path: Path) -> CommandOutcome:
        """The same sheets in one PDF, in the order of the list, behind a cover to tick off."""
        sheets = [BatchSheet(code, functools.partial(self._content, code)) for code in self._codes(day)]
        quiet = not sys.stderr.isatty()
        with click.progressbar(length=len(sheets), label="Sheets", file=sys.stderr, hidden=quiet) as bar:
            batch = render_batch(
                sheets,
                day=day,
                staff_language=staff_language(self.hand),
                paper=self.choices.paper or "A4",
                progress=lambda done, of, name: bar.update(1),
            )
        failed = [f"{skipped.name}: {skipped.problem.line}" for skipped in batch.skipped]
        text = ""
        for number, part in enumerate(batch.parts if batch.printed else (), 1):
            name = path if len(batch.parts) == 1 else path.with_stem(f"{path.stem}-{number}")
            write_out(name, part)
            text += f"{name}: print it on both sides\n"
        return result(text + (f"{counted(len(batch.printed), 'sheet', 'sheets')}\n" if text else ""), failed)

    def _codes(self, day: date) -> list[str]:
        """Whoever was operated on ``day``, in the order of the list. Error ``sheet.nobody``."""
        with self.hand.store.read() as session:
            codes = [line.patient_code for line in operations_on(session, day) if line.patient_id]
        if not codes:
            raise FollowupError(
                "sheet.nobody",
                f"nobody with a record was operated on {day}",
                fix="name another day, or enter the operations first",
            )
        return list(dict.fromkeys(codes))

    def _content(self, code: str) -> SheetContent:
        with self.hand.store.read() as session:
            version = self._version(session, code)
        return self._made(version, lambda content: content)[0]

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

    def _made(self, version: PlanVersion, use: Callable[[SheetContent], T]) -> tuple[T, str]:
        """What ``use`` makes of the plan's sheet, and in words what kind of sheet it is."""
        if version.status == "active":
            return self._issued(version, use), "signed; mark it handed over when the patient has it."
        with self.hand.store.read() as session:
            record = record_of(session, version).record
            earlier = plans_printed(session, version.patient_id)
        look = look_of_plan(self.hand, version, self.choices, self.language)
        content = build_content(
            version.body,
            record,
            self.hand.protocol.formulary,
            clinic_info(self.hand),
            language=look.language,
            printed_on=self.hand.today,
            aftercare=self.hand.protocol.aftercare,
            earlier=earlier,
            options=look.options,
        )
        return use(content), "a draft, not for the patient."

    def _issued(self, version: PlanVersion, use: Callable[[SheetContent], T]) -> T:
        """The newest sheet of a signed plan; the first is issued under a new code."""
        with self.hand.store.read() as session:
            known = [s for s in sheets_of(session, version.patient_id) if s.plan_id == version.id]
            record = record_of(session, version).record
            language = sheet_language(record, self.language).language.tag
            same = [s for s in known if self.language is None or s.language == language]
            if known and not same:
                raise FollowupError(
                    "sheet.language",
                    f"the sheet of {version.patient_code} was printed in {known[-1].language}",
                    fix="print it in another language at the counsellor's desk, with the reason",
                )
            options = self.choices.over(printed_options(session, same[-1].id)) if same else None
        found = same[-1] if same else self._first(version)
        with self.hand.store.read() as session:
            content = content_of(session, self.hand, found, options)
        return use(content)

    def _first(self, version: PlanVersion) -> SheetView:
        """The plan's first sheet; that of somebody else who printed it at the same moment."""

        def there(session: Session) -> SheetView | None:
            known = [s for s in sheets_of(session, version.patient_id) if s.plan_id == version.id]
            return known[-1] if known else None

        return issue_one(self.hand, version.id, self.choices, language=self.language, there=there)


def result(text: str, failed: list[str]) -> CommandOutcome:
    problem = f"{counted(len(failed), 'sheet', 'sheets')} not written: {'; '.join(failed)}"
    return CommandOutcome(text, BAD_INPUT if failed else 0, problem if failed else "")
