"""What happens to a visit: booked, moved, arrived, seen, not come."""

from __future__ import annotations

import re
from datetime import date

from sqlmodel import Session, col, select

from followup.clinical.careplan import ReviewNeed, read_stored
from followup.errors import FollowupError
from followup.records.desk.attempts import take_up_again
from followup.records.duties import CLINICAL, FRONT, WINDOW
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import lock_patient
from followup.records.store.journal import Detail
from followup.records.store.sites import site_of_patient
from followup.records.store.store import Unit
from followup.records.tables import CarePlanRow, TripRow
from followup.records.trips.places import clinic_calendar, release_places, take_places
from followup.records.trips.trips import OPEN, held_trip, trip
from followup.records.views import TripView
from followup.said import say
from followup.typed import typed

_CLOCK = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")


def book_trip(unit: Unit, *, trip_id: int, hour: str | None = None, seen: date | None = None) -> TripView:
    """Promise the patient the proposed day, with its ``hour`` where one is given, and take its places.

    ``seen``: the day that was promised. Errors: ``role.missing``, ``trip.hour``, ``trip.state``,
    ``trip.changed``, ``trip.past``, ``place.full``, ``place.closed``.
    """
    unit.need_role(*FRONT)
    row = held_trip(unit, trip_id)
    refuse_moved(row, seen)
    _need_state(row, "proposed", done="booked")
    site = site_of_patient(unit.session, row.patient_id)
    take_places(
        unit,
        clinic_calendar(unit.session, site),
        services=row.services,
        day=row.day,
        overbook=row.services if row.given else row.overbooked,
        site=site,
    )
    _refuse_past(unit, row.day)
    before, row.hour = row.hour, _hour(hour) or row.hour
    row.status, row.holds_places = "booked", True
    return _stored(unit, row, "visit booked", day=row.day.isoformat(), hour=row.hour, hour_before=before)


def _hour(text: str | None) -> str | None:
    """An hour on the 24-hour clock. Error ``trip.hour``."""
    if not text or not text.strip():
        return None
    if not _CLOCK.fullmatch(text.strip()):
        raise no_hour(text)
    return text.strip()


def no_hour(text: str) -> FollowupError:
    """The error for what is no hour on the 24-hour clock."""
    return FollowupError(
        "trip.hour",
        say("{text} is no time of day", text=typed(text[:20])),
        where=say("hour"),
        fix=say("write it as 14:30"),
    )


def move_trip(
    unit: Unit, *, trip_id: int, day: date, hour: str | None = None, seen: date | None = None
) -> TripView:
    """Move a visit inside its window; a booked one takes its new places and gives back the old.

    An hour belongs to a day: on another day the old one is gone, and ``hour`` is the new one. On the
    same day ``hour`` alone changes. ``seen``: the day that it is moved from.
    Errors: ``role.missing``, ``trip.hour``, ``trip.changed``, ``trip.window``, ``trip.order`` (it would pass
    another visit), ``trip.counts`` (a later visit counts its days from this one), ``trip.past``,
    ``trip.state``, ``place.full``, ``place.closed``.
    """
    unit.need_role(*FRONT)
    row = held_trip(unit, trip_id)
    _need_state(row, "proposed", "booked", done="moved")
    hour = _hour(hour)
    if day == row.day:
        if hour is None or hour == row.hour:
            return trip(unit.session, trip_id)
        refuse_moved(row, seen)
        before, row.hour = row.hour, hour
        return _stored(unit, row, "hour of a visit", old=before, new=hour)
    refuse_moved(row, seen)
    _refuse_past(unit, day)
    _refuse_move(unit.session, row, day)
    site = site_of_patient(unit.session, row.patient_id)
    old, calendar = row.day, clinic_calendar(unit.session, site)
    closed = [service for service in row.services if not calendar.offers(service, day)]
    if closed:
        raise FollowupError(
            "place.closed",
            say("{closed} is not offered on {day}", closed=", ".join(closed), day=day),
            where=say("visit"),
            fix=say("choose another day inside the window"),
        )
    if row.holds_places:
        take_places(unit, calendar, services=row.services, day=day, site=site)
        release_places(unit, services=row.services, day=old, site=site)
    over, before = row.overbooked, row.hour
    row.day, row.overbooked, row.hour = day, [], hour
    return _stored(
        unit,
        row,
        "visit moved",
        old=old.isoformat(),
        new=day.isoformat(),
        overbooked=over,
        hour=hour,
        hour_before=before,
    )


def mark_arrived(unit: Unit, *, trip_id: int, nonce: str) -> TripView:
    """The patient is here. The same ``nonce`` again changes nothing (a form sent twice).

    Errors: ``role.missing``, ``trip.early`` before the first right day (such a look would not see what it is
    for, and must not count as it), ``trip.arrived`` when someone else marked it, ``trip.state`` when the
    visit is over or cancelled, ``trip.nonce`` when the nonce belongs to another visit.
    """
    unit.need_role(*WINDOW)
    row = held_trip(unit, trip_id)
    if row.arrival_nonce == nonce:
        return trip(unit.session, trip_id)
    used = unit.session.exec(select(TripRow.id).where(TripRow.arrival_nonce == nonce)).first()
    if used is not None:
        raise FollowupError(
            "trip.nonce", say("this form was already used for another visit"), fix=say("open it anew")
        )
    today, before = _today(unit), row.status
    came_again = (
        row.status == "arrived" and not row.served and (row.left_at or (row.seen_on or today) < today)
    )
    if row.status == "arrived" and not came_again:
        raise FollowupError("trip.arrived", say("this arrival is already marked"), fix=say("nothing to do"))
    if not came_again:
        _need_state(row, *OPEN, done="marked as arrived")
    if today < row.window_start:
        raise FollowupError(
            "trip.early",
            say("this visit is not before {window_start}", window_start=row.window_start),
            where=say("visit of {day}", day=row.day),
            fix=say("if something is wrong with the eye, call the surgeon now"),
        )
    row.status, row.arrived_at, row.arrival_nonce, row.seen_on = "arrived", unit.now, nonce, today
    row.left_at = None
    stood = take_up_again(unit, lock_patient(unit, row.patient_id), reason="came to the clinic")
    return _stored(unit, row, "arrived", day=today.isoformat(), before=before, stood=stood)


def mark_fulfilled(unit: Unit, *, trip_id: int, served: tuple[str, ...] | None = None) -> TripView:
    """A clinical role says that the visit took place and looked at ``served`` (all it was for, if not said).

    What was not looked at becomes a visit of its own in the same window, so that it is not lost.
    Errors: ``role.missing``, ``trip.served`` for a need that the visit was not for, ``trip.state``.
    """
    unit.need_role(*CLINICAL)
    return end_visit(unit, trip_id=trip_id, served=served)


def end_visit(unit: Unit, *, trip_id: int, served: tuple[str, ...] | None = None) -> TripView:
    """The same where findings have said what was looked at, whoever says that the patient has left."""
    row = held_trip(unit, trip_id)
    _need_state(row, *OPEN, "arrived", done="closed")
    done = tuple(row.serves) if served is None else served
    strange = sorted(set(done) - set(row.serves))
    # A visit that keeps the gap between two checks short serves no need of its own.
    if strange or (row.serves and not done):
        raise FollowupError(
            "trip.served",
            say("this visit was not for {strange}", strange=", ".join(strange))
            if strange
            else say("nothing was looked at"),
            where=say("served"),
            fix=say("choose from what the visit is for"),
        )
    before, row.status, row.fulfilled_at = row.status, "fulfilled", unit.now
    looked = row.served
    row.served = [key for key in row.serves if key in done]
    row.seen_on = row.seen_on or _today(unit)
    left = [key for key in row.serves if key not in done]
    left_trip = _leave_over(unit, row, left) if left else None
    given = {"served": row.served, "looked": looked, "left": left, "left_trip": left_trip, "before": before}
    return _stored(unit, row, "visit done", **given)


def mark_noshow(unit: Unit, *, trip_id: int) -> TripView:
    """Reception says that the patient did not come. What the visit was for stays open.

    Errors: ``role.missing``, ``trip.early`` before the visit's day, ``trip.state``.
    """
    unit.need_role(*WINDOW)
    row = held_trip(unit, trip_id)
    _need_state(row, "proposed", "booked", done="marked as missed")
    if _today(unit) < row.day:
        raise FollowupError(
            "trip.early", say("the visit is on {day}", day=row.day), fix=say("wait until that day")
        )
    before, row.status = row.status, "noshow"
    return _stored(unit, row, "did not come", day=row.day.isoformat(), before=before)


def _need_state(row: TripRow, *states: str, done: str) -> None:
    if row.status not in states:
        raise FollowupError(
            "trip.state",
            say("a visit that is {status} can't be {done}", status=row.status, done=done),
            where=say("visit of {day}", day=row.day),
            fix=say("look at the patient's visits"),
        )


def refuse_moved(row: TripRow | TripView, seen: date | None) -> None:
    """Error ``trip.changed`` where the visit no longer stands on the day on which it was ``seen``."""
    if seen is not None and seen != row.day:
        raise FollowupError(
            "trip.changed",
            say("this visit was moved to {day} meanwhile", day=row.day),
            where=say("visit of {seen}", seen=seen),
            fix=say("look at the patient's visits and repeat what is still needed"),
        )


def _today(unit: Unit) -> date:
    return unit.now.astimezone(clinic_zone(unit.session)).date()


def _refuse_past(unit: Unit, day: date) -> None:
    if day < _today(unit):
        raise FollowupError(
            "trip.past", say("{day} is over", day=day), where=say("day"), fix=say("choose today or later")
        )


def _stored(unit: Unit, row: TripRow, action: str, **details: Detail) -> TripView:
    unit.session.add(row)
    unit.session.flush()
    assert row.id is not None
    seen = trip(unit.session, row.id)
    unit.log(action, f"patient:{seen.patient_code}", visit=row.number, trip=row.id, **details)
    return seen


def _refuse_move(session: Session, row: TripRow, day: date) -> None:
    if not row.window_start <= day <= row.window_end:
        raise FollowupError(
            "trip.window",
            say(
                "{day} lies outside the window {window_start} to {window_end}",
                day=day,
                window_start=row.window_start,
                window_end=row.window_end,
            ),
            where=say("visit of {day}", day=row.day),
            fix=say("choose a day inside it, or ask the surgeon"),
        )
    others = session.exec(
        select(TripRow).where(
            TripRow.care_plan_id == row.care_plan_id,
            TripRow.id != row.id,
            col(TripRow.status).in_((*OPEN, "arrived")),
        )
    ).all()
    if any(min(day, row.day) <= other.day <= max(day, row.day) for other in others):
        raise FollowupError(
            "trip.order",
            say("the visit would fall on or pass another visit"),
            where=say("visit of {day}", day=row.day),
            fix=say("choose a day between the neighbouring visits, or have the visits planned again"),
        )
    if day > row.day and any(_counts_from(session, row, other) for other in others if other.day > row.day):
        raise FollowupError(
            "trip.counts",
            say("a later visit counts its days from this one"),
            where=say("visit of {day}", day=row.day),
            fix=say("have the visits planned again instead"),
        )


def _counts_from(session: Session, first: TripRow, later: TripRow) -> bool:
    return any(need.after in first.serves for need in _needs(session, later) if need.after)


def _needs(session: Session, row: TripRow) -> list[ReviewNeed]:
    plan = session.get(CarePlanRow, row.care_plan_id)
    body = read_stored(plan.body) if plan else None
    return [need for need in body.needs if need.key in row.serves] if body else []


def _leave_over(unit: Unit, row: TripRow, keys: list[str]) -> int:
    """A visit of its own for what was not looked at; its id."""
    needs = [need for need in _needs(unit.session, row) if need.key in keys]
    end = min((need.latest for need in needs), default=row.window_end)
    start = max((need.earliest for need in needs), default=row.window_start)
    numbers = unit.session.exec(select(TripRow.number).where(TripRow.care_plan_id == row.care_plan_id))
    left = TripRow(
        patient_id=row.patient_id,
        care_plan_id=row.care_plan_id,
        number=max(numbers) + 1,
        day=max(min(row.day, end), min(start, end)),
        window_start=min(start, end),
        window_end=end,
        status="proposed",
        serves=keys,
        services=sorted({need.service for need in needs}) or row.services,
        tier=min((need.tier for need in needs), default=row.tier),
    )
    unit.session.add(left)
    unit.session.flush()
    assert left.id is not None
    return left.id
