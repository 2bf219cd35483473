"""The sheets of a day's operations: issued where they are signed, and all in one document."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import date
from functools import partial

from followup.care.hand import Hand
from followup.care.sheets.content import content_of, draft_content, issue_one, staff_language
from followup.errors import FollowupError
from followup.records.people.oplist import operations_on
from followup.records.plans.plans import active_plan
from followup.records.plans.sheets import sheets_of
from followup.records.store.store import Session
from followup.records.views import PlanVersion, SheetView
from followup.said import say
from followup.sheets.model import SheetContent
from followup.sheets.paper.batch import BatchSheet, render_batch
from followup.sheets.paper.pdf import render_pdf
from followup.sheets.paper.typesetter import Typesetter


def _at_once() -> None:
    """No other work waits."""


def issue_day(hand: Hand, day: date, between: Callable[[], None] = _at_once) -> None:
    """Issue a sheet of every signed plan of the day's operations that has none yet.

    One that can't be laid out is left for the list in front of the sheets, which says why.
    ``between``: called before each, so that shorter work may go first.
    """
    with hand.store.read() as session:
        waiting = [plan for patient in _operated(session, day) if (plan := _unprinted(session, patient))]
    setter = Typesetter(gives_way=True)
    try:
        for plan in waiting:
            between()
            with suppress(FollowupError):
                issue_one(hand, plan.id, setter=setter)
    finally:
        setter.close()


def sheets_of_day(
    hand: Hand,
    day: date,
    part: int,
    tell: Callable[[str], str] = str,
    between: Callable[[], None] = _at_once,
) -> bytes:
    """One document of the day's current sheets; the nearest where there is no such part.

    ``tell`` puts what keeps a plan from having a sheet into the staff's words. ``between`` as above.
    """
    with hand.store.read() as session:
        known = [
            _current(session, patient) or _unprinted(session, patient) for patient in _operated(session, day)
        ]
    found = [each for each in known if each]
    if not any(isinstance(each, SheetView) for each in found):
        for plan in found:
            _must_be_printable(hand, plan)
        raise FollowupError(
            "batch.none",
            say("no sheet of this day is printed yet"),
            fix=say("sign the plans first, then print the sheets of the day"),
        )
    batch = render_batch(
        [BatchSheet(each.patient_code, partial(_make, hand, each)) for each in found],
        day=day,
        staff_language=staff_language(hand),
        tell=tell,
        progress=lambda *_: between(),
    )
    return batch.parts[min(max(part, 1), len(batch.parts)) - 1]


def _make(hand: Hand, given: SheetView | PlanVersion) -> SheetContent:
    """The sheet's content. A signed plan without a sheet is refused with what keeps it from having one."""
    if isinstance(given, SheetView):
        with hand.store.read() as session:
            return content_of(session, hand, given)
    _must_be_printable(hand, given)
    raise FollowupError(
        "sheet.unprinted", say("its sheet is not printed yet"), fix=say("print the sheets of the day again")
    )


def _must_be_printable(hand: Hand, given: SheetView | PlanVersion) -> None:
    """Raises what keeps a plan from having a sheet."""
    if isinstance(given, PlanVersion):
        render_pdf(draft_content(hand, given.id, None))


def _operated(session: Session, day: date) -> list[int]:
    found = [line.patient_id for line in operations_on(session, day) if line.entered and line.patient_id]
    return list(dict.fromkeys(found))


def _unprinted(session: Session, patient_id: int) -> PlanVersion | None:
    """The patient's plan in force where it has no sheet yet."""
    plan = active_plan(session, patient_id)
    return plan if plan and not any(s.plan_id == plan.id for s in sheets_of(session, patient_id)) else None


def _current(session: Session, patient_id: int) -> SheetView | None:
    current = [s for s in sheets_of(session, patient_id) if s.replaced_at is None]
    return current[-1] if current else None
