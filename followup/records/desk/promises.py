"""A day that a patient has promised for a visit whose last day is over: it is booked like any other."""

from __future__ import annotations

from datetime import date

from followup.records.duties import FRONT
from followup.records.people.patients import lock_patient
from followup.records.store.sites import site_of_patient
from followup.records.store.store import Unit
from followup.records.trips.places import clinic_calendar, release_places, take_places
from followup.records.trips.trips import OPEN, held_trip


def book_promised(unit: Unit, *, trip_id: int, day: date) -> None:
    """Book the open visit for the promised ``day``, outside its window too: it stays overdue until done.

    The same day again changes nothing. An hour belongs to its day: on another day it is gone.
    Errors: ``role.missing``, ``place.full``, ``place.closed``.
    """
    unit.need_role(*FRONT)
    row = held_trip(unit, trip_id)
    patient = lock_patient(unit, row.patient_id)
    if row.status not in OPEN or (row.holds_places and row.day == day):
        return
    site = site_of_patient(unit.session, row.patient_id)
    take_places(unit, clinic_calendar(unit.session, site), services=row.services, day=day, site=site)
    if row.holds_places:
        release_places(unit, services=row.services, day=row.day, site=site)
    old, before, held, over, hour = row.day, row.status, row.holds_places, row.overbooked, row.hour
    row.hour = hour if day == old else None
    row.day, row.status, row.holds_places, row.overbooked = day, "booked", True, []
    unit.session.add(row)
    unit.session.flush()
    unit.log(
        "day promised",
        f"patient:{patient.code}",
        visit=row.number,
        trip=row.id,
        old=old.isoformat(),
        new=day.isoformat(),
        before=before,
        held=held,
        overbooked=over,
        hour_before=hour,
    )
