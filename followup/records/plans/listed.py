"""What a list says of plans: stored beside each version, so that no line of a list reads a whole plan."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import ColumnElement, exists
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from followup.clinical.words.gist import PlanGist, read_gist
from followup.records.store.batches import batches
from followup.records.tables import CarePlanRow, HandOutDayRow, PatientRow, SheetRow

_LISTED = ("id", "patient_id", "status", "as_of", "drafted_at", "signed_at")


@dataclass(frozen=True, slots=True)
class ListedPlan:
    """A version of a plan as a list names it."""

    id: int
    patient_id: int
    status: str
    as_of: date
    drafted_at: datetime
    signed_at: datetime | None
    gist: PlanGist


def plan_gists(session: Session, plans: Iterable[int]) -> dict[int, PlanGist]:
    """The gist of several versions at once; one that can't be read is left out."""
    found: dict[int, PlanGist] = {}
    for some in batches(plans):
        rows = session.exec(
            select(col(CarePlanRow.id), CarePlanRow.gist).where(col(CarePlanRow.id).in_(some))
        )
        for plan, gist in rows:
            # The list of whom to reach must stand even where a plan can't be read: its visit is there.
            with suppress(ValueError):
                found[plan or 0] = read_gist(gist)
    return found


def newest_plans(session: Session, patients: Iterable[int]) -> dict[int, ListedPlan]:
    """By patient the plan in force, or the draft where none is; one that can't be read is left out."""
    found = _listed(
        session,
        col(CarePlanRow.patient_id).in_(set(patients)),
        col(CarePlanRow.status).in_(("active", "draft", "on-hold")),
        readable_alone=True,
    )
    ordered = sorted(found, key=lambda plan: (plan.status == "active", plan.id))
    return {plan.patient_id: plan for plan in ordered}


def listed_plan(session: Session, plan_id: int) -> ListedPlan:
    """One version. A ValueError where it can't be read."""
    return _listed(session, col(CarePlanRow.id) == plan_id)[0]


def plans_by_hand(session: Session, patient: int | None = None) -> tuple[ListedPlan, ...]:
    """Plans that the protocol refuses and someone must make by hand; of one ``patient`` or of all."""
    return _listed(session, col(CarePlanRow.status) == "on-hold", *_of_patient(patient))


def drafts_waiting(session: Session, patient: int | None = None) -> tuple[ListedPlan, ...]:
    """Drafts that wait for a signature, longest waiting first; of one ``patient`` or of all."""
    return _listed(session, col(CarePlanRow.status) == "draft", *_of_patient(patient))


def plans_not_handed_over(session: Session, patient: int | None = None) -> tuple[ListedPlan, ...]:
    """Plans in force of which no sheet is in the patient's hands yet; of one ``patient`` or of all."""
    return _listed(session, *_in_force(), ~is_handed_over(), *_of_patient(patient))


def plans_handed_over(session: Session) -> tuple[ListedPlan, ...]:
    """Plans in force of which a sheet is in the patient's hands, by id; none that can't be read."""
    found = _listed(session, *_in_force(), is_handed_over(), readable_alone=True)
    return tuple(sorted(found, key=lambda plan: plan.id))


def plans_handing_out(session: Session, start: date, end: date, patient: int | None = None) -> dict[int, int]:
    """Plans in force that hand a bottle out on one of these days, both included, each with its patient.

    ``patient``: that one's alone.
    """
    rows = session.execute(
        sql_select(col(CarePlanRow.id), col(CarePlanRow.patient_id))
        .distinct()
        .join(HandOutDayRow, col(HandOutDayRow.plan_id) == CarePlanRow.id)
        .join(PatientRow, col(PatientRow.id) == CarePlanRow.patient_id)
        .where(col(HandOutDayRow.day).between(start, end), *_in_force(), *_of_patient(patient))
    )
    return {plan: who for plan, who in rows}  # noqa: C416 - rows are no pairs to mypy


def is_handed_over() -> ColumnElement[bool]:
    """That a sheet of the plan is in the patient's hands."""
    return exists().where(
        col(SheetRow.care_plan_id) == CarePlanRow.id, col(SheetRow.handed_over_at).is_not(None)
    )


def _in_force() -> tuple[ColumnElement[bool], ...]:
    return (col(CarePlanRow.status) == "active",)


def _of_patient(patient: int | None) -> tuple[ColumnElement[bool], ...]:
    return () if patient is None else (col(CarePlanRow.patient_id) == patient,)


def _listed(
    session: Session, *conditions: ColumnElement[bool], readable_alone: bool = False
) -> tuple[ListedPlan, ...]:
    columns = [col(getattr(CarePlanRow, name)) for name in _LISTED]
    rows = session.execute(
        sql_select(*columns, col(CarePlanRow.gist))
        .join(PatientRow, col(PatientRow.id) == CarePlanRow.patient_id)
        .where(*conditions)
        .order_by(col(CarePlanRow.drafted_at), col(CarePlanRow.id))
    )
    found = []
    for row in rows:
        try:
            told = dict(zip(_LISTED, row, strict=False))
            found.append(ListedPlan(**told, gist=read_gist(row[-1])))
        except ValueError:
            if not readable_alone:
                raise
    return tuple(found)
