"""Eyes in danger: opened by what was said at the window or seen at a look, open until someone closes them.

A walk-in's alert ends with the next look at an eye of the patient. One that asks for a senior ends only
when a clinical role says in a word what was done.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, cast

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from followup.clinical.record import Eye
from followup.errors import FollowupError
from followup.records.duties import CLINICAL, FRONT
from followup.records.people.folding import fold_code
from followup.records.people.patients import lock_patient
from followup.records.store.store import Unit
from followup.records.tables import AlertRow, PatientRow
from followup.said import as_text, of_text, say

AlertKind = Literal["walk-in", "senior review"]
LONGEST_WORD = 500


@dataclass(frozen=True)
class Alert:
    """What stands open. ``signs`` and ``words`` as in the table."""

    id: int
    patient_id: int
    kind: AlertKind
    eye: Eye | None
    day: date
    trip_id: int | None
    signs: tuple[str, ...]
    words: str
    opened_at: datetime
    opened_by: str


def open_alert(
    unit: Unit,
    *,
    patient_id: int,
    kind: AlertKind,
    day: date,
    signs: Iterable[str],
    eye: Eye | None = None,
    words: str = "",
    trip_id: int | None = None,
) -> None:
    """Open an alert. For the same look it stays one: what was said of it already opens nothing anew.

    Error ``role.missing``.
    """
    unit.need_role(*FRONT)
    patient = lock_patient(unit, patient_id)
    said = list(dict.fromkeys(signs))
    same = unit.session.exec(
        select(AlertRow).where(
            AlertRow.patient_id == patient_id,
            AlertRow.kind == kind,
            AlertRow.day == day,
            col(AlertRow.eye).is_(None) if eye is None else col(AlertRow.eye) == eye,
        )
    ).all()
    known = {of_text(sign) for row in same for sign in row.signs}
    if kind == "senior review" and set(said) <= known:
        return
    row = AlertRow(
        patient_id=patient_id,
        kind=kind,
        eye=eye,
        day=day,
        trip_id=trip_id,
        signs=[as_text(sign) for sign in said],
        words=words,
        opened_at=unit.now,
        opened_by=unit.actor.name or unit.actor.login,
    )
    unit.session.add(row)
    unit.session.flush()
    unit.log(f"{kind} opened", f"patient:{patient.code}", alert=row.id, eye=eye or "", signs="; ".join(said))


def close_alert(unit: Unit, *, patient_id: int, alert_id: int, word: str) -> None:
    """A clinical role says what was done. The same said twice closes it once.

    Errors: ``role.missing``, ``alert.word``, ``alert.unknown``, ``alert.closed`` by another.
    """
    unit.need_role(*CLINICAL)
    if not word.strip():
        raise FollowupError(
            "alert.word",
            say("not said what was done"),
            where=say("word"),
            fix=say("say in a few words what was done"),
        )
    patient = lock_patient(unit, patient_id)
    row = unit.session.get(AlertRow, alert_id, populate_existing=True)
    if row is None or row.patient_id != patient_id:
        raise FollowupError(
            "alert.unknown", say("nothing of this kind is open"), fix=say("open the patient again")
        )
    said = word.strip()[:LONGEST_WORD]
    if row.closed_at is None:
        _close(unit, row, patient, said)
    elif (row.closed_by, row.closed_word) != (unit.actor.name or unit.actor.login, said):
        raise FollowupError(
            "alert.closed",
            say("{closed_by} has closed this already", closed_by=row.closed_by),
            fix=say("look at what was written; where more was done, enter it as a finding"),
        )


def close_walk_ins(unit: Unit, patient: PatientRow, *, word: str) -> None:
    """A look is stored, or the walk-in was a slip: what was said at the window is answered."""
    open_ones = select(AlertRow).where(
        AlertRow.patient_id == patient.id, AlertRow.kind == "walk-in", col(AlertRow.closed_at).is_(None)
    )
    for row in unit.session.exec(open_ones).all():
        _close(unit, row, patient, word)


def open_alerts(session: Session, patients: Iterable[int] | None = None) -> tuple[Alert, ...]:
    """What stands open of these patients, or of all: walk-ins first, then longest open first."""
    conditions: list[ColumnElement[bool]] = [col(AlertRow.closed_at).is_(None)]
    if patients is not None:
        conditions.append(col(AlertRow.patient_id).in_(set(patients)))
    rows = session.exec(
        select(AlertRow)
        # Named so that a session bound to a site finds its own patients alone.
        .join(PatientRow, col(PatientRow.id) == AlertRow.patient_id)
        .where(*conditions)
        .order_by(col(AlertRow.opened_at), col(AlertRow.id))
    )
    return tuple(sorted((_alert(row) for row in rows), key=lambda one: one.kind != "walk-in"))


def alerts_of_code(session: Session, code: str) -> tuple[Alert, ...]:
    """What stands open of the patient with this code."""
    numbers = session.exec(select(PatientRow.id).where(PatientRow.code_key == fold_code(code))).all()
    return open_alerts(session, [number for number in numbers if number is not None])


def _close(unit: Unit, row: AlertRow, patient: PatientRow, word: str) -> None:
    row.closed_at, row.closed_by, row.closed_word = unit.now, unit.actor.name or unit.actor.login, word
    unit.session.add(row)
    unit.session.flush()
    unit.log(f"{row.kind} closed", f"patient:{patient.code}", alert=row.id, word=word)


def _alert(row: AlertRow) -> Alert:
    return Alert(
        id=row.id or 0,
        patient_id=row.patient_id,
        kind=cast(AlertKind, row.kind),
        eye=cast("Eye | None", row.eye),
        day=row.day,
        trip_id=row.trip_id,
        signs=tuple(of_text(sign) for sign in row.signs),
        words=row.words,
        opened_at=row.opened_at,
        opened_by=row.opened_by,
    )
