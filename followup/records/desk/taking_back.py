"""Taking back what was noted by mistake: on its own day, by the same desk, as a new entry of the journal.

The journal keeps both: what was noted and that it was taken back. The newest step of a visit, a sheet
or a call goes first, so that nothing is taken from under a later one.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final, cast

from sqlmodel import Session, col, select

from followup.errors import FollowupError
from followup.records.desk.alerts import close_walk_ins
from followup.records.desk.attempts import StandingWord, restore_standing, standing_word
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import lock_patient
from followup.records.store.journal import Detail
from followup.records.store.store import Unit
from followup.records.tables import ContactAttemptRow, HandingRow, JournalRow, PatientRow, SheetRow, TripRow
from followup.records.trips.places import clinic_calendar, release_places, take_places
from followup.said import say

TAKEN_BACK = "taken back"
_FRONT: Final = frozenset({"counsellor", "reception", "surgeon"})
_WINDOW: Final = frozenset({"reception"})
_STORE: Final = frozenset({"pharmacy", "manager"})


@dataclass(frozen=True)
class NotedStep:
    """Something noted today that can be taken back. ``details`` are those of its journal entry."""

    number: int
    at: datetime
    by: str
    action: str
    patient_code: str
    details: Mapping[str, Detail]

    @property
    def roles(self) -> frozenset[str]:
        """Whose work it is to take it back: whoever may note it."""
        return _REVERSES[self.action].roles

    @property
    def about(self) -> tuple[str, str, Detail]:
        """What it changed: one visit, one sheet, or how the patient is reached."""
        kind = _REVERSES[self.action].about
        return self.patient_code, kind, self.details.get(kind) if kind != "attempt" else ""


@dataclass(frozen=True)
class _Reverse:
    about: str
    roles: frozenset[str]
    stands: Callable[[Session, NotedStep], bool]
    undo: Callable[[Unit, NotedStep, PatientRow], None]


def steps_of_day(
    session: Session, now: datetime, patients: Collection[str], *, actions: Collection[str] = ()
) -> tuple[NotedStep, ...]:
    """What was noted of these patients, by code, on the clinic's day of ``now``: newest first.

    Only what can be taken back now; of ``actions`` alone where some are named.
    """
    entries = _entries(session, now, patients)
    gone = {step.details.get("entry") for step in entries if step.action == TAKEN_BACK}
    found: dict[tuple[str, str, Detail], NotedStep] = {}
    for step in entries:
        if step.action in _REVERSES and step.number not in gone and step.about[2] is not None:
            found.setdefault(step.about, step)
    chosen = [step for step in found.values() if not actions or step.action in actions]
    return tuple(step for step in chosen if _REVERSES[step.action].stands(session, step))


def take_back(unit: Unit, *, patient_id: int, entry: int) -> None:
    """Undo what the journal's ``entry`` tells of this patient. Taking it back twice changes nothing.

    Errors: ``back.gone`` when the day is over or a later step stands on it, ``role.missing``,
    ``place.full`` and ``place.closed`` where a place that was given back is taken by now.
    """
    patient = lock_patient(unit, patient_id)
    if _is_back(unit.session, unit.now, patient.code, entry):
        return
    steps = steps_of_day(unit.session, unit.now, [patient.code])
    step = next((one for one in steps if one.number == entry), None)
    if step is None:
        raise not_any_more()
    unit.need_role(*sorted(step.roles))
    _REVERSES[step.action].undo(unit, step, patient)
    unit.session.flush()
    unit.log(TAKEN_BACK, f"patient:{patient.code}", entry=entry, what=step.action)


def not_any_more() -> FollowupError:
    """The error for what can't be taken back."""
    return FollowupError(
        "back.gone",
        say("this can't be taken back any more: its day is over, or something later stands on it"),
        fix=say("open the patient and look at what was noted since"),
    )


def _is_back(session: Session, now: datetime, code: str, entry: int) -> bool:
    return any(
        step.action == TAKEN_BACK and step.details.get("entry") == entry
        for step in _entries(session, now, [code])
    )


def _entries(session: Session, now: datetime, patients: Collection[str]) -> list[NotedStep]:
    """The day's entries about these patients, newest first."""
    zone = clinic_zone(session)
    today = now.astimezone(zone).date()
    midnight, next_midnight = (
        datetime.combine(day, time(0), zone).astimezone(UTC) for day in (today, today + timedelta(days=1))
    )
    query = (
        select(JournalRow)
        .where(col(JournalRow.subject).in_([f"patient:{code}" for code in patients]))
        # What a clock that ran ahead wrote is not of this day for as long as it lies ahead.
        .where(JournalRow.at >= midnight, JournalRow.at < next_midnight)
        .order_by(col(JournalRow.number).desc())
    )
    return [
        NotedStep(
            row.number,
            row.at,
            row.actor,
            row.action,
            row.subject.removeprefix("patient:"),
            json.loads(row.details),
        )
        for row in session.exec(query)
    ]


def _trip(session: Session, step: NotedStep) -> TripRow | None:
    return session.get(TripRow, step.details.get("trip"))


def _visit_is(*states: str) -> Callable[[Session, NotedStep], bool]:
    def stands(session: Session, step: NotedStep) -> bool:
        row = _trip(session, step)
        return row is not None and row.status in states

    return stands


def _is_on_its_new_day(session: Session, step: NotedStep) -> bool:
    row = _trip(session, step)
    moved = row is not None and row.status in ("proposed", "booked")
    return bool(moved and row and row.day.isoformat() == step.details.get("new"))


def _left_over_is_untouched(session: Session, step: NotedStep) -> bool:
    number = step.details.get("left_trip")
    left = session.get(TripRow, number) if number is not None else None
    return _visit_is("fulfilled")(session, step) and (left is None or left.status == "proposed")


def _held(unit: Unit, step: NotedStep) -> TripRow:
    row = _trip(unit.session, step)
    assert row is not None
    unit.session.refresh(row)
    unit.session.add(row)
    return row


def _stood(unit: Unit, step: NotedStep, patient: PatientRow, *, now: str = "followed") -> None:
    """Put back what was said of the patient, unless something else than ``now`` was said since."""
    assert patient.id is not None
    stood = cast(StandingWord, step.details.get("stood") or "followed")
    if standing_word(unit.session, patient.id) == now:
        restore_standing(unit, patient, stood, reason=f"{step.action}: {TAKEN_BACK}")


def _undo_arrival(unit: Unit, step: NotedStep, patient: PatientRow) -> None:
    row = _held(unit, step)
    # The form's nonce stays, so that the same form sent again does not bring the arrival back.
    before = str(step.details.get("before") or "proposed")
    # Whoever came again after leaving unseen is open again, not here on a day that nobody knows.
    row.status = "proposed" if before == "arrived" else before
    row.arrived_at = row.seen_on = row.left_at = None
    _stood(unit, step, patient)


def _undo_walk_in(unit: Unit, step: NotedStep, patient: PatientRow) -> None:
    row = _held(unit, step)
    row.status, row.seen_on, row.ended_reason = "cancelled", None, TAKEN_BACK
    close_walk_ins(unit, patient, word=TAKEN_BACK)
    _stood(unit, step, patient)


def _undo_done(unit: Unit, step: NotedStep, _patient: PatientRow) -> None:
    row = _held(unit, step)
    row.status, row.fulfilled_at = str(step.details.get("before") or "arrived"), None
    # What findings had seen before the visit was said to be done, they have seen.
    row.left_at, row.served = None, _names(step, "looked")
    if row.status != "arrived":
        row.seen_on = None
    left = step.details.get("left_trip")
    if left is not None:
        over = unit.session.get(TripRow, left)
        assert over is not None
        over.status, over.ended_reason = "cancelled", TAKEN_BACK
        unit.session.add(over)


def _undo_left(unit: Unit, step: NotedStep, _patient: PatientRow) -> None:
    _held(unit, step).left_at = None


def _undo_no_show(unit: Unit, step: NotedStep, _patient: PatientRow) -> None:
    _held(unit, step).status = str(step.details.get("before") or "proposed")


def _undo_booking(unit: Unit, step: NotedStep, patient: PatientRow) -> None:
    row = _held(unit, step)
    release_places(unit, services=row.services, day=row.day, site=patient.site_id)
    row.status, row.holds_places, row.hour = "proposed", False, _hour_before(step)


def _undo_move(unit: Unit, step: NotedStep, patient: PatientRow) -> None:
    row, old, over = (
        _held(unit, step),
        date.fromisoformat(str(step.details["old"])),
        _names(step, "overbooked"),
    )
    if row.holds_places:
        site = patient.site_id
        calendar = clinic_calendar(unit.session, site)
        take_places(unit, calendar, services=row.services, day=old, overbook=over, site=site)
        release_places(unit, services=row.services, day=row.day, site=site)
    row.day, row.overbooked, row.hour = old, over, _hour_before(step)


def _names(step: NotedStep, detail: str) -> list[str]:
    return [str(name) for name in cast("list[str]", step.details.get(detail) or [])]


def _hour_before(step: NotedStep) -> str | None:
    hour = step.details.get("hour_before")
    return str(hour) if hour else None


def _undo_promise(unit: Unit, step: NotedStep, patient: PatientRow) -> None:
    row, old = _held(unit, step), date.fromisoformat(str(step.details["old"]))
    release_places(unit, services=row.services, day=row.day, site=patient.site_id)
    row.day, row.status, row.holds_places = old, str(step.details.get("before") or "proposed"), False
    row.overbooked, row.hour = _names(step, "overbooked"), _hour_before(step)
    if step.details.get("held"):
        calendar = clinic_calendar(unit.session, patient.site_id)
        over = row.services
        take_places(unit, calendar, services=row.services, day=old, overbook=over, site=patient.site_id)
        row.holds_places = True


def _undo_attempt(unit: Unit, step: NotedStep, patient: PatientRow) -> None:
    row = unit.session.get(ContactAttemptRow, step.details.get("attempt"))
    assert row is not None
    row.taken_back_at = unit.now
    unit.session.add(row)
    _stood(unit, step, patient, now=row.outcome)


def _undo_hand_over(unit: Unit, step: NotedStep, _patient: PatientRow) -> None:
    row = unit.session.get(SheetRow, step.details.get("sheet"))
    assert row is not None
    row.handed_over_at = row.handed_over_by = row.handed_to = row.how = None
    unit.session.add(row)


def _undo_given(unit: Unit, step: NotedStep, _patient: PatientRow) -> None:
    row = unit.session.get(HandingRow, step.details.get("handing"))
    assert row is not None
    row.taken_back_at = unit.now
    unit.session.add(row)


def _given_stands(session: Session, step: NotedStep) -> bool:
    row = session.get(HandingRow, step.details.get("handing"))
    return row is not None and row.taken_back_at is None


def _attempt_stands(session: Session, step: NotedStep) -> bool:
    row = session.get(ContactAttemptRow, step.details.get("attempt"))
    return row is not None and row.taken_back_at is None


def _sheet_stands(session: Session, step: NotedStep) -> bool:
    row = session.get(SheetRow, step.details.get("sheet"))
    return row is not None and row.handed_over_at is not None and row.replaced_at is None


_REVERSES: Final[dict[str, _Reverse]] = {
    "arrived": _Reverse("trip", _WINDOW, _visit_is("arrived"), _undo_arrival),
    "came without a visit": _Reverse("trip", _FRONT, _visit_is("arrived"), _undo_walk_in),
    "left without findings": _Reverse("trip", _FRONT, _visit_is("arrived"), _undo_left),
    "visit done": _Reverse("trip", _FRONT, _left_over_is_untouched, _undo_done),
    "did not come": _Reverse("trip", _WINDOW, _visit_is("noshow"), _undo_no_show),
    "visit booked": _Reverse("trip", _FRONT, _visit_is("booked"), _undo_booking),
    "visit moved": _Reverse("trip", _FRONT, _is_on_its_new_day, _undo_move),
    "day promised": _Reverse("trip", _FRONT, _is_on_its_new_day, _undo_promise),
    "tried to reach": _Reverse("attempt", _FRONT, _attempt_stands, _undo_attempt),
    "sheet handed over": _Reverse("sheet", _FRONT, _sheet_stands, _undo_hand_over),
    "bottles given": _Reverse("handing", _STORE, _given_stands, _undo_given),
}
