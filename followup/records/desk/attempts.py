"""Attempts to reach a patient, and who is no longer followed: by a person, with a reason, reversible."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, cast

from sqlmodel import Session, col, func, select

from followup.clinical.protocol.recall import AttemptOutcome, Way, refuse_outcome
from followup.errors import FollowupError
from followup.records.duties import FRONT, SURGEON
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import lock_patient
from followup.records.store.store import Unit
from followup.records.tables import STANDINGS, ContactAttemptRow, PatientRow, StandingRow
from followup.said import say

StandingWord = Literal["followed", "refused", "moved away", "died", "lost to follow-up"]
_GONE = tuple(word for word in STANDINGS if word != "followed")
# Said by whoever answers the telephone; the rest only the surgeon decides.
_BY_ATTEMPT: dict[str, StandingWord] = {"moved away": "moved away", "died": "died"}


@dataclass(frozen=True)
class AttemptView:
    """One attempt; ``day`` is the clinic's own day, ``number`` the one that was called, or empty."""

    id: int
    patient_id: int
    at: datetime
    day: date
    by: str
    rung: int
    way: Way
    outcome: AttemptOutcome
    promised: date | None
    note: str
    number: str = ""


@dataclass(frozen=True)
class FollowStanding:
    """Whether a patient is followed; ``reason`` and who said so."""

    patient_id: int
    standing: StandingWord
    since: datetime
    by: str
    reason: str


def note_attempt(
    unit: Unit,
    *,
    patient_id: int,
    rung: int,
    way: Way,
    outcome: AttemptOutcome,
    nonce: str,
    promised: date | None = None,
    note: str = "",
    number: str = "",
) -> AttemptView:
    """Write down an attempt. The same ``nonce`` again changes nothing (a form sent twice).

    Moved away and died end the following at once; refused goes to the surgeon. Errors:
    ``role.missing``, ``attempt.outcome``, ``attempt.promised`` (a day that has passed, or one without "will
    come"), ``attempt.number`` (not one of the patient's).
    """
    unit.need_role(*FRONT)
    refuse_outcome(way, outcome)
    patient = lock_patient(unit, patient_id)
    known = attempt_of_form(unit.session, nonce)
    if known is not None:
        if known.patient_id != patient_id:
            raise FollowupError(
                "attempt.nonce", say("this form was used for another patient"), fix=say("open it anew")
            )
        return known
    today = unit.now.astimezone(clinic_zone(unit.session)).date()
    if promised is not None and (outcome != "will come" or promised < today):
        raise FollowupError(
            "attempt.promised",
            say("a promised day goes with 'will come' and can't have passed"),
            where=say("promised"),
            fix=say("give today or a later day, or leave it empty"),
        )
    if number and number not in {phone["number"] for phone in patient.telephones}:
        raise FollowupError(
            "attempt.number",
            say("this is no telephone number of the patient"),
            where=say("number"),
            fix=say("choose one of them"),
        )
    row = ContactAttemptRow(
        patient_id=patient_id,
        at=unit.now,
        day=today,
        by=unit.actor.login,
        rung=rung,
        way=way,
        outcome=outcome,
        promised=promised,
        note=note.strip(),
        nonce=nonce,
        number=number,
    )
    unit.session.add(row)
    unit.session.flush()
    stood = standing_word(unit.session, patient_id)
    unit.log(
        "tried to reach", f"patient:{patient.code}", way=way, outcome=outcome, attempt=row.id, stood=stood
    )
    if outcome in _BY_ATTEMPT:
        # The note stays out of the journal: it can be erased where it lies, and what came of it is told.
        _put_standing(unit, patient, _BY_ATTEMPT[outcome], reason=note.strip() or outcome, in_journal=outcome)
    return _attempt(row)


def attempt_of_form(session: Session, nonce: str) -> AttemptView | None:
    """The attempt that the form with this ``nonce`` wrote down; None before it was sent."""
    row = session.exec(select(ContactAttemptRow).where(ContactAttemptRow.nonce == nonce)).first()
    return _attempt(row) if row else None


def attempts_of(session: Session, patients: Iterable[int]) -> dict[int, tuple[AttemptView, ...]]:
    """Every attempt for these patients, oldest first; those taken back are left out."""
    rows = session.exec(
        select(ContactAttemptRow)
        .where(col(ContactAttemptRow.patient_id).in_(set(patients)))
        .where(col(ContactAttemptRow.taken_back_at).is_(None))
        .order_by(col(ContactAttemptRow.at), col(ContactAttemptRow.id))
    )
    found: dict[int, list[AttemptView]] = {}
    for row in rows:
        found.setdefault(row.patient_id, []).append(_attempt(row))
    return {number: tuple(own) for number, own in found.items()}


def attempts_on(session: Session, day: date) -> tuple[AttemptView, ...]:
    """Every attempt of one day of the clinic, newest first; those taken back are left out."""
    rows = session.exec(
        select(ContactAttemptRow)
        .where(ContactAttemptRow.day == day, col(ContactAttemptRow.taken_back_at).is_(None))
        .order_by(col(ContactAttemptRow.id).desc())
    )
    return tuple(_attempt(row) for row in rows)


def set_standing(unit: Unit, *, patient_id: int, standing: StandingWord, reason: str) -> FollowStanding:
    """Change whether a patient is followed, back too. What the rule asks is the caller's to check.

    Errors: ``role.missing`` (refused and lost to follow-up are the surgeon's to say),
    ``standing.word``, ``standing.reason``, ``standing.same``.
    """
    if standing not in STANDINGS:
        raise FollowupError(
            "standing.word",
            say("{standing} is no standing", standing=standing),
            fix=say("one of {standings}", standings=STANDINGS),
        )
    if standing in ("refused", "lost to follow-up"):
        unit.need_role(*SURGEON)
    else:
        unit.need_role(*FRONT)
    if not reason.strip():
        raise no_reason()
    patient = lock_patient(unit, patient_id)
    if standing_word(unit.session, patient_id) == standing:
        raise FollowupError(
            "standing.same",
            say("the patient is {standing} already", standing=standing),
            fix=say("nothing to do"),
        )
    return _put_standing(unit, patient, standing, reason=reason.strip())


def no_reason() -> FollowupError:
    """The error for a standing that nobody gives a reason for."""
    return FollowupError("standing.reason", say("no reason given"), where=say("reason"), fix=say("say why"))


def take_up_again(unit: Unit, patient: PatientRow, *, reason: str) -> StandingWord:
    """Whoever comes is followed again, whatever was said before; that comes back."""
    assert patient.id is not None
    before = standing_word(unit.session, patient.id)
    restore_standing(unit, patient, "followed", reason=reason)
    return before


def restore_standing(unit: Unit, patient: PatientRow, standing: StandingWord, *, reason: str) -> None:
    """Put back what was said of the patient before; nothing where that stands already."""
    assert patient.id is not None
    if standing_word(unit.session, patient.id) != standing:
        _put_standing(unit, patient, standing, reason=reason)


def standings(session: Session, among: Iterable[int] | None = None) -> dict[int, FollowStanding]:
    """Everybody who is not followed any more, by patient; of all or ``among`` these."""
    statement = (
        select(StandingRow)
        # Named so that a session bound to a site finds, and counts, its own patients alone.
        .join(PatientRow, col(PatientRow.id) == StandingRow.patient_id)
        .where(col(StandingRow.standing).in_(_GONE))
        .order_by(col(StandingRow.patient_id))
    )
    if among is not None:
        statement = statement.where(col(StandingRow.patient_id).in_(set(among)))
    return {row.patient_id: _standing(row) for row in session.exec(statement)}


def count_not_followed(session: Session) -> int:
    """How many are not followed any more."""
    return session.exec(
        select(func.count())
        .select_from(StandingRow)
        .join(PatientRow, col(PatientRow.id) == StandingRow.patient_id)
        .where(col(StandingRow.standing).in_(_GONE))
    ).one()


def standing_of(session: Session, patient_id: int) -> FollowStanding | None:
    """The last word about the patient; None where none was ever needed."""
    row = session.get(StandingRow, patient_id)
    return _standing(row) if row else None


def standing_word(session: Session, patient_id: int) -> StandingWord:
    """The last word about the patient; "followed" where none was ever needed."""
    row = session.get(StandingRow, patient_id)
    return cast(StandingWord, row.standing) if row else "followed"


def _put_standing(
    unit: Unit, patient: PatientRow, standing: StandingWord, *, reason: str, in_journal: str = ""
) -> FollowStanding:
    assert patient.id is not None
    row = unit.session.get(StandingRow, patient.id) or StandingRow(
        patient_id=patient.id, standing=standing, since=unit.now, by=""
    )
    before = row.standing if row.by else "followed"
    row.standing, row.since, row.by, row.reason = standing, unit.now, unit.actor.login, reason
    unit.session.add(row)
    unit.session.flush()
    told = in_journal or reason
    unit.log("standing changed", f"patient:{patient.code}", before=before, after=standing, reason=told)
    return _standing(row)


def _attempt(row: ContactAttemptRow) -> AttemptView:
    return AttemptView(
        id=row.id or 0,
        patient_id=row.patient_id,
        at=row.at,
        day=row.day,
        by=row.by,
        rung=row.rung,
        way=cast(Way, row.way),
        outcome=cast(AttemptOutcome, row.outcome),
        promised=row.promised,
        note=row.note,
        number=row.number,
    )


def _standing(row: StandingRow) -> FollowStanding:
    return FollowStanding(row.patient_id, cast(StandingWord, row.standing), row.since, row.by, row.reason)
