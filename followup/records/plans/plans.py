"""Care plans by version: drafted, signed, replaced, ended."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import cast

from pydantic import TypeAdapter
from sqlalchemy import ColumnElement, CursorResult
from sqlmodel import Session, and_, col, or_, select, update

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan, read_stored, to_store
from followup.clinical.statuses import PlanStatus
from followup.clinical.words.gist import gist_of, gist_to_store
from followup.errors import FollowupError
from followup.records.duties import CLINICAL, PROGRAM, SURGEON
from followup.records.house.clinics import clinic_zone
from followup.records.people.oplist import refuse_other_eye
from followup.records.people.patients import lock_patient, newest_record
from followup.records.plans.bound import SIGNED, plan_hash
from followup.records.plans.listed import is_handed_over
from followup.records.plans.protocols import protocol_signature
from followup.records.store.store import Unit
from followup.records.tables import CarePlanRow, HandOutDayRow, PatientRow, SheetRow
from followup.records.trips.trips import cancel_open_trips, end_arrivals, propose_trips
from followup.records.views import PlanVersion, RecordVersion
from followup.said import SENTENCES, as_text, of_text, say
from followup.typed import typed

_EDITS = TypeAdapter(tuple[Adjustment, ...])
_NO_EDITS = _EDITS.dump_json(()).decode()
_SAME = {
    "id",
    "patient_id",
    "number",
    "record_number",
    "as_of",
    "drafted_by",
    "drafted_at",
    "signed_by",
    "signed_at",
    "ended_at",
    "ended_reason",
    "replaced_by",
}


def store_draft(
    unit: Unit,
    *,
    patient_id: int,
    record_number: int,
    body: CarePlan,
    edits: Iterable[Adjustment] = (),
    reason: str = "",
    seen: int | None = None,
) -> PlanVersion:
    """Store a plan that was built from the record's version ``record_number``.

    An unsigned draft of the patient is replaced by it; the signed version stays in force. A plan
    that must be made by hand is stored on-hold. ``seen``: the number of the newest plan version the
    person looked at (0: none). Errors: ``role.missing``, also where others than a surgeon bring other
    ``edits`` than the newest version has; ``plan.stale`` when the record is newer, ``plan.changed`` when
    somebody drafted or signed after ``seen``.
    """
    unit.need_role(*CLINICAL, PROGRAM)
    patient = lock_patient(unit, patient_id)
    _refuse_stale(unit, patient, record_number)
    newest = _newest_number(unit.session, patient_id)
    if seen is not None and seen != newest:
        raise _changed(unit.session, patient_id)
    chosen = tuple(edits)
    if chosen != _newest_edits(unit.session, patient_id):
        unit.need_role(*SURGEON)
    row = _draft_row(unit, patient_id, record_number, written(body), newest + 1)
    row.edits, row.reason = _EDITS.dump_json(chosen, context=SENTENCES).decode(), as_text(reason)
    unit.session.add(row)
    unit.session.flush()
    if newest:
        _end(unit, patient_id, ("draft", "on-hold"), by=row)
    _log_draft(unit, patient.code, row, reason)
    return _plan(row, patient, body)


@dataclass(frozen=True)
class WrittenPlan:
    """A plan as its row holds it: to write it takes longer than to store it."""

    status: str
    as_of: date
    body: str
    gist: str
    protocol_hash: str
    engine: str


def written(body: CarePlan) -> WrittenPlan:
    """The plan, written before anybody waits for the store."""
    by_hand = body.status == "on-hold" or bool(body.refused)
    return WrittenPlan(
        status="on-hold" if by_hand else "draft",
        as_of=body.as_of,
        body=to_store(body),
        gist=gist_to_store(gist_of(body)),
        protocol_hash=body.protocol_hash,
        engine=body.engine,
    )


def store_first_drafts(unit: Unit, drafts: Iterable[tuple[RecordVersion, WrittenPlan]]) -> None:
    """The first plan of each of several patients whom this unit entered: one statement however many.

    Errors: ``role.missing``.
    """
    unit.need_role(*CLINICAL, PROGRAM)
    rows = []
    for version, plan in drafts:
        row = _draft_row(unit, version.patient_id, version.number, plan, 1)
        rows.append(row)
        _log_draft(unit, version.record.patient.code, row, "")
    unit.session.add_all(rows)
    unit.session.flush()


def _draft_row(
    unit: Unit, patient_id: int, record_number: int, plan: WrittenPlan, number: int
) -> CarePlanRow:
    return CarePlanRow(
        patient_id=patient_id,
        number=number,
        record_number=record_number,
        **vars(plan),
        edits=_NO_EDITS,
        reason=as_text(""),
        drafted_by=unit.actor.login,
        drafted_at=unit.now,
    )


def _log_draft(unit: Unit, code: str, row: CarePlanRow, reason: str) -> None:
    unit.log("plan drafted", f"patient:{code}", plan=row.number, status=row.status, reason=reason)


def sign_plan(unit: Unit, *, plan_id: int, reason: str = "") -> PlanVersion:
    """The surgeon signs a draft: it is in force, and the version before it is revoked.

    Open visits of the old version are cancelled and those of the new one proposed; a booked visit
    on the same day keeps its booking. Sheets of the old version become replaced. Errors:
    ``role.missing``, ``plan.signed`` (someone was faster), ``plan.replaced``, ``plan.blocked``,
    ``plan.protocol`` (protocol not approved), ``plan.stale``, ``record.eye``, ``place.full``.
    """
    unit.need_role(*SURGEON)
    plan_row = _row(unit.session, plan_id)
    patient = lock_patient(unit, plan_row.patient_id)
    unit.session.refresh(plan_row)
    _refuse_unsignable(unit, plan_row, patient)
    _end(unit, plan_row.patient_id, ("active",), by=plan_row)
    body = read_stored(plan_row.body)
    signed = body.model_copy(update={"status": "active", "approved": True})
    result = unit.session.execute(
        update(CarePlanRow)
        .where(col(CarePlanRow.id) == plan_id, col(CarePlanRow.status) == "draft")
        .values(
            status="active",
            body=to_store(signed),
            gist=gist_to_store(gist_of(signed)),
            reason=as_text(reason) or plan_row.reason,
            signed_by=unit.actor.name or unit.actor.login,
            signed_at=unit.now,
        )
    )
    assert isinstance(result, CursorResult)
    if result.rowcount != 1:
        raise _changed(unit.session, plan_row.patient_id)
    days = {bottle.handed_over for bottle in signed.supply}
    unit.session.add_all(HandOutDayRow(plan_id=plan_id, day=day) for day in days)
    kept = cancel_open_trips(unit, patient_id=plan_row.patient_id, reason=f"plan {plan_row.number} signed")
    propose_trips(unit, plan_id=plan_id, patient_id=plan_row.patient_id, trips=signed.trips, kept=kept)
    end_arrivals(
        unit,
        patient_id=plan_row.patient_id,
        plan_id=plan_id,
        today=unit.now.astimezone(clinic_zone(unit.session)).date(),
        reason=f"plan {plan_row.number} signed",
    )
    _replace_sheets(unit, plan_row)
    unit.session.refresh(plan_row)
    unit.log(
        SIGNED,
        f"patient:{patient.code}",
        plan=plan_row.number,
        id=plan_id,
        sha256=plan_hash(unit.session, plan_row),
        reason=of_text(plan_row.reason),
        protocol=plan_row.protocol_hash,
        registration=unit.actor.registration,
    )
    return _plan(plan_row, patient)


def end_plan(unit: Unit, *, plan_id: int, completed: bool, reason: str) -> PlanVersion:
    """The surgeon ends a plan: completed, or revoked without a new one. Its open visits are cancelled.

    Also for a plan by hand once it exists on paper. Errors: ``role.missing``, ``plan.reason``,
    ``plan.ended``.
    """
    unit.need_role(*SURGEON)
    if not reason.strip():
        raise FollowupError(
            "plan.reason", say("no reason given"), where=say("reason"), fix=say("say why the plan ends")
        )
    row = _row(unit.session, plan_id)
    patient = lock_patient(unit, row.patient_id)
    unit.session.refresh(row)
    if row.status in ("revoked", "completed"):
        raise FollowupError(
            "plan.ended", say("this plan has ended already"), fix=say("open the newest version")
        )
    if row.status == "active":
        cancel_open_trips(unit, patient_id=row.patient_id, reason=reason)
        today = unit.now.astimezone(clinic_zone(unit.session)).date()
        end_arrivals(unit, patient_id=row.patient_id, plan_id=None, today=today, reason=reason)
    row.status = "completed" if completed else "revoked"
    row.ended_at, row.ended_reason = unit.now, reason
    unit.session.add(row)
    unit.session.flush()
    unit.log("plan ended", f"patient:{patient.code}", plan=row.number, status=row.status, reason=reason)
    return _plan(row, patient)


def plan(session: Session, plan_id: int) -> PlanVersion:
    """One version. Error: ``plan.unknown``."""
    return _only(_plans(session, col(CarePlanRow.id) == plan_id))


def plans_by_id(session: Session, plans: Iterable[int]) -> dict[int, PlanVersion]:
    """Several versions at once."""
    return {version.id: version for version in _plans(session, col(CarePlanRow.id).in_(set(plans)))}


def plans_of(session: Session, patient_id: int) -> tuple[PlanVersion, ...]:
    """Every version of a patient's plan, newest first."""
    return _plans(session, col(CarePlanRow.patient_id) == patient_id)[::-1]


def active_plan(session: Session, patient_id: int) -> PlanVersion | None:
    """The version in force, if one is."""
    found = _plans(session, col(CarePlanRow.patient_id) == patient_id, col(CarePlanRow.status) == "active")
    return found[0] if found else None


def completed_plan(session: Session, patient_id: int) -> PlanVersion | None:
    """The plan that completed last, where none is in force since."""
    if active_plan(session, patient_id) is not None:
        return None
    found = _plans(session, col(CarePlanRow.patient_id) == patient_id, col(CarePlanRow.status) == "completed")
    return max(found, key=lambda version: version.number) if found else None


def open_draft(session: Session, patient_id: int) -> PlanVersion | None:
    """The draft that waits for the surgeon, if there is one."""
    found = _plans(session, col(CarePlanRow.patient_id) == patient_id, col(CarePlanRow.status) == "draft")
    return found[-1] if found else None


def plan_ids_to_look_at(session: Session, patient: int | None = None) -> tuple[tuple[int, int], ...]:
    """Plan and patient of every draft, plan by hand and plan not handed over, without reading them."""
    new = and_(col(CarePlanRow.status) == "active", ~is_handed_over())
    statement = (
        select(col(CarePlanRow.id), CarePlanRow.patient_id)
        .join(PatientRow, col(PatientRow.id) == CarePlanRow.patient_id)
        .where(or_(col(CarePlanRow.status).in_(("draft", "on-hold")), new))
        .order_by(col(CarePlanRow.drafted_at), col(CarePlanRow.id))
    )
    if patient is not None:
        statement = statement.where(CarePlanRow.patient_id == patient)
    return tuple((plan_id, who) for plan_id, who in session.exec(statement) if plan_id is not None)


def plans_in_force(session: Session, among: Iterable[int] | None = None) -> frozenset[int]:
    """The patients who have a signed plan in force, of all or ``among`` these."""
    statement = select(CarePlanRow.patient_id).where(CarePlanRow.status == "active")
    if among is not None:
        statement = statement.where(col(CarePlanRow.patient_id).in_(set(among)))
    return frozenset(session.exec(statement))


def _refuse_unsignable(unit: Unit, row: CarePlanRow, patient: PatientRow) -> None:
    if row.status != "draft":
        raise _changed(unit.session, row.patient_id, row)
    body = read_stored(row.body)
    if not body.signable:
        raise FollowupError(
            "plan.blocked",
            say("the plan still has an open question, a stop caution or a check that no day can serve"),
            where=say("plan {number} of {code}", number=row.number, code=typed(patient.code)),
            fix=say("answer it on the plan's page, then sign the new draft"),
        )
    if protocol_signature(unit.session, row.protocol_hash) is None:
        raise FollowupError(
            "plan.protocol",
            say("this protocol is not approved for patients"),
            where=say("plan {number} of {code}", number=row.number, code=typed(patient.code)),
            fix=say("a licensed clinician of the clinic must sign the protocol first"),
        )
    _refuse_stale(unit, patient, row.record_number)
    refuse_other_eye(unit.session, newest_record(unit.session, row.patient_id).record)


def _refuse_stale(unit: Unit, patient: PatientRow, record_number: int) -> None:
    if patient.record_number != record_number:
        raise FollowupError(
            "plan.stale",
            say(
                "the record of {code} was changed (version {record_number})",
                code=typed(patient.code),
                record_number=patient.record_number,
            ),
            where=say("plan"),
            fix=say("have the plan built again from the newest version"),
        )


def _changed(session: Session, patient_id: int, row: CarePlanRow | None = None) -> FollowupError:
    """Someone else was faster: say who did what."""
    newest = plans_of(session, patient_id)[0]
    if row is not None and row.status == "active":
        return FollowupError(
            "plan.signed",
            say(
                "{signed_by} has already signed plan {number}",
                signed_by=typed(row.signed_by),
                number=row.number,
            ),
            fix=say("nothing to do; look at the signed plan"),
        )
    who = newest.signed_by or newest.drafted_by
    return FollowupError(
        "plan.replaced" if row is not None else "plan.changed",
        say(
            "{who} made plan {number} meanwhile ({status})",
            who=typed(who),
            number=newest.number,
            status=newest.status,
        ),
        fix=say("look at the newest version and repeat what is still needed"),
    )


def _end(unit: Unit, patient_id: int, states: tuple[str, ...], *, by: CarePlanRow) -> None:
    """Revoke the patient's other versions in these states; ``by`` replaces them."""
    unit.session.execute(
        update(CarePlanRow)
        .where(
            col(CarePlanRow.patient_id) == patient_id,
            col(CarePlanRow.status).in_(states),
            col(CarePlanRow.id) != by.id,
        )
        .values(status="revoked", ended_at=unit.now, ended_reason="replaced", replaced_by=by.id)
    )


def _replace_sheets(unit: Unit, row: CarePlanRow) -> None:
    unit.session.execute(
        update(SheetRow)
        .where(
            col(SheetRow.patient_id) == row.patient_id,
            col(SheetRow.care_plan_id) != row.id,
            col(SheetRow.replaced_at).is_(None),
        )
        .values(replaced_at=unit.now, replaced_by_plan=row.id)
    )


def _newest_number(session: Session, patient_id: int) -> int:
    numbers = session.exec(select(CarePlanRow.number).where(CarePlanRow.patient_id == patient_id))
    return max(numbers, default=0)


def _newest_edits(session: Session, patient_id: int) -> tuple[Adjustment, ...]:
    newest = select(CarePlanRow.edits).where(CarePlanRow.patient_id == patient_id)
    edits = session.exec(newest.order_by(col(CarePlanRow.number).desc()).limit(1)).first()
    return _EDITS.validate_json(edits, context=SENTENCES) if edits is not None else ()


def _row(session: Session, plan_id: int) -> CarePlanRow:
    # Named with its patient, so that a session bound to a site finds its own alone.
    mine = select(CarePlanRow).join(PatientRow, col(PatientRow.id) == CarePlanRow.patient_id)
    row = session.exec(mine.where(CarePlanRow.id == plan_id)).first()
    if row is None:
        raise _unknown()
    return row


def _only(found: tuple[PlanVersion, ...]) -> PlanVersion:
    if not found:
        raise _unknown()
    return found[0]


def _unknown() -> FollowupError:
    return FollowupError(
        "plan.unknown", say("no such plan"), fix=say("open the patient and choose a version")
    )


def _plans(session: Session, *conditions: ColumnElement[bool]) -> tuple[PlanVersion, ...]:
    rows = session.exec(
        select(CarePlanRow, PatientRow)
        .join(PatientRow, col(PatientRow.id) == CarePlanRow.patient_id)
        .where(*conditions)
        .order_by(col(CarePlanRow.drafted_at), col(CarePlanRow.id))
    )
    return tuple(_plan(row, patient) for row, patient in rows)


def _plan(row: CarePlanRow, patient: PatientRow, body: CarePlan | None = None) -> PlanVersion:
    """The version; ``body``: what its row holds, where that is known."""
    same = row.model_dump(include=_SAME)
    status = cast(PlanStatus, row.status)
    return PlanVersion(
        **same,
        patient_code=patient.code,
        patient_name=patient.name,
        status=status,
        reason=of_text(row.reason),
        body=(body or read_stored(row.body)).model_copy(update={"status": status}),
        edits=_EDITS.validate_json(row.edits, context=SENTENCES),
    )
