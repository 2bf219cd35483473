"""Visits: booked while there is room, moved inside the window, arrived once, never lost."""

from __future__ import annotations

import json
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from sqlalchemy import text

from followup.errors import FollowupError
from followup.records.desk.attempts import set_standing
from followup.records.desk.trip_steps import (
    book_trip,
    mark_arrived,
    mark_fulfilled,
    mark_noshow,
    move_trip,
)
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.trips.places import places_taken, planning_calendar
from followup.records.trips.trips import (
    day_trips,
    missed_trips,
    open_trips,
    trip,
    trips_of,
    trips_past_window,
)


def _do(ward, use_case, *, now=None, by=None, **given):
    usual = ward.counsellor if use_case is mark_fulfilled else ward.reception
    with ward.store.write(by or usual, now or ward.now) as unit:
        return use_case(unit, **given)


def _refused(ward, use_case, code: str, **given) -> FollowupError:
    with pytest.raises(FollowupError) as caught:
        _do(ward, use_case, **given)
    assert caught.value.code == code
    assert "\n" not in caught.value.line
    return caught.value


def _calendar(ward, **calendar) -> None:
    with ward.store.write(ward.manager, ward.now) as unit:
        clinic = get_clinic(unit.session)
        put_clinic(unit, replace(clinic, calendar=json.dumps(calendar)))


def _taken(ward) -> dict[tuple[str, object], int]:
    with ward.store.read() as session:
        return {key: count for key, count in places_taken(session, ward.day0, ward.day(400)).items() if count}


def test_booking_takes_a_place_and_cancelling_gives_it_back(ward):
    signed = ward.signed()
    week = ward.trips(signed)[1]
    assert _do(ward, book_trip, trip_id=week.id).status == "booked"
    assert _taken(ward) == {("review", ward.day(7)): 1}
    _refused(ward, book_trip, "trip.state", trip_id=week.id)
    other = ward.body(trips=(), needs=())
    ward.sign(ward.draft(signed.patient_id, other).id)
    assert _taken(ward) == {}


def test_the_last_place_goes_to_one_and_the_other_is_told(ward):
    _calendar(ward, services=[{"name": "review", "capacity": 1}])
    first, second = ward.trips(ward.signed("K-1"))[1], ward.trips(ward.signed("K-2"))[1]
    barrier = threading.Barrier(2)

    def book(trip_id):
        barrier.wait()
        try:
            return _do(ward, book_trip, trip_id=trip_id).status
        except FollowupError as error:
            return error.code

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(book, (first.id, second.id))) == ["booked", "place.full"]
    assert _taken(ward) == {("review", ward.day(7)): 1}


def test_eight_who_want_three_places_get_three(ward):
    _calendar(ward, services=[{"name": "review", "capacity": 3}])
    visits = [ward.trips(ward.signed(f"K-{n}"))[1].id for n in range(8)]

    def book(trip_id):
        try:
            return _do(ward, book_trip, trip_id=trip_id).status
        except FollowupError as error:
            return error.code

    with ThreadPoolExecutor(8) as pool:
        results = list(pool.map(book, visits))
    assert (results.count("booked"), results.count("place.full")) == (3, 5)
    assert _taken(ward) == {("review", ward.day(7)): 3}


def test_a_service_that_may_be_overbooked_by_name_is(ward):
    _calendar(ward, services=[{"name": "review", "capacity": 0}])
    week = ward.need("week", 5, 9)
    urgent = ward.visit(1, 7, week, overbooked=("review",))
    signed = ward.signed(body=ward.body(needs=(week,), trips=(urgent,)))
    assert _do(ward, book_trip, trip_id=ward.trips(signed)[0].id).status == "booked"


def test_booking_on_a_closed_day_is_refused(ward):
    signed = ward.signed()
    _calendar(ward, holidays=[ward.day(7).isoformat()])
    _refused(ward, book_trip, "place.closed", trip_id=ward.trips(signed)[1].id)


def test_the_calendar_for_planning_leaves_out_the_patients_own_places(ward):
    _calendar(ward, services=[{"name": "review", "capacity": 2}])
    mine, other = ward.signed("K-1"), ward.signed("K-2")
    for signed in (mine, other):
        _do(ward, book_trip, trip_id=ward.trips(signed)[1].id)
    with ward.store.read() as session:
        assert planning_calendar(session).room("review", ward.day(7)) == 0
        assert planning_calendar(session, mine.patient_id).room("review", ward.day(7)) == 1


def test_a_visit_moves_inside_its_window_and_takes_its_place_along(ward):
    week = ward.trips(ward.signed())[1]
    _do(ward, book_trip, trip_id=week.id)
    moved = _do(ward, move_trip, trip_id=week.id, day=ward.day(9))
    assert (moved.day, moved.status) == (ward.day(9), "booked")
    assert _taken(ward) == {("review", ward.day(9)): 1}


@pytest.mark.parametrize("number", [4, 10])
def test_a_visit_does_not_leave_its_window(ward, number):
    week = ward.trips(ward.signed())[1]
    error = _refused(ward, move_trip, "trip.window", trip_id=week.id, day=ward.day(number))
    assert str(ward.day(5)) in error.what
    assert str(ward.day(9)) in error.what
    with ward.store.read() as session:
        assert trip(session, week.id).day == ward.day(7)


def test_a_visit_does_not_move_to_a_full_or_closed_day_and_keeps_its_old_place(ward):
    _calendar(ward, services=[{"name": "review", "capacity": 1}], holidays=[ward.day(6).isoformat()])
    mine, other = ward.trips(ward.signed("K-1"))[1], ward.trips(ward.signed("K-2"))[1]
    _do(ward, move_trip, trip_id=other.id, day=ward.day(8))
    for visit in (mine, other):
        _do(ward, book_trip, trip_id=visit.id)
    _refused(ward, move_trip, "place.full", trip_id=mine.id, day=ward.day(8))
    _refused(ward, move_trip, "place.closed", trip_id=mine.id, day=ward.day(6))
    assert _taken(ward) == {("review", ward.day(7)): 1, ("review", ward.day(8)): 1}


def test_a_visit_does_not_pass_another_one(ward):
    early, late = ward.need("early", 1, 20), ward.need("late", 1, 30)
    body = ward.body(needs=(early, late), trips=(ward.visit(1, 5, early), ward.visit(2, 15, late)))
    first, second = ward.trips(ward.signed(body=body))
    _refused(ward, move_trip, "trip.order", trip_id=first.id, day=ward.day(15))
    _refused(ward, move_trip, "trip.order", trip_id=second.id, day=ward.day(4))
    assert _do(ward, move_trip, trip_id=first.id, day=ward.day(14)).day == ward.day(14)


def test_a_visit_from_which_a_later_one_counts_its_days_moves_only_earlier(ward):
    first = ward.need("macula", 20, 40)
    again = ward.need("macula-again", 50, 90, after="right:macula")
    body = ward.body(needs=(first, again), trips=(ward.visit(1, 30, first), ward.visit(2, 60, again)))
    visit = ward.trips(ward.signed(body=body))[0]
    _refused(ward, move_trip, "trip.counts", trip_id=visit.id, day=ward.day(31))
    assert _do(ward, move_trip, trip_id=visit.id, day=ward.day(29)).day == ward.day(29)


def test_an_arrival_sent_twice_is_one_arrival(ward):
    first = ward.trips(ward.signed())[0]
    once = _do(ward, mark_arrived, trip_id=first.id, nonce="n1", now=ward.at(1, 4))
    twice = _do(ward, mark_arrived, trip_id=first.id, nonce="n1", now=ward.at(1, 9))
    assert once == twice
    assert (once.status, once.arrived_at, once.seen_on) == ("arrived", ward.at(1, 4), ward.day(1))
    _refused(ward, mark_arrived, "trip.arrived", trip_id=first.id, nonce="n2")


def test_the_day_of_an_arrival_is_the_clinics_day(ward):
    # 19:00 UTC is half past midnight of the next day in Kolkata.
    first = ward.trips(ward.signed())[0]
    assert _do(ward, mark_arrived, trip_id=first.id, nonce="n", now=ward.at(0, 19)).seen_on == ward.day(1)


def test_one_form_does_not_mark_two_visits(ward):
    first, second, _ = ward.trips(ward.signed())
    _do(ward, mark_arrived, trip_id=first.id, nonce="n", now=ward.at(1))
    _refused(ward, mark_arrived, "trip.nonce", trip_id=second.id, nonce="n", now=ward.at(1))


def test_a_look_before_its_first_right_day_never_counts_as_it(ward):
    week = ward.trips(ward.signed())[1]
    _refused(ward, mark_arrived, "trip.early", trip_id=week.id, nonce="n", now=ward.at(4, 18.4))
    # The fifth day begins at half past six in the evening before, in UTC.
    assert _do(ward, mark_arrived, trip_id=week.id, nonce="n", now=ward.at(4, 18.5)).status == "arrived"


def test_no_visit_is_moved_to_or_booked_on_a_day_that_is_over(ward):
    week = ward.trips(ward.signed())[1]
    _refused(ward, move_trip, "trip.past", trip_id=week.id, day=ward.day(5), now=ward.at(6))
    _refused(ward, book_trip, "trip.past", trip_id=week.id, now=ward.at(8))


def test_a_patient_who_comes_after_all_is_marked_as_arrived(ward):
    first = ward.trips(ward.signed())[0]
    _do(ward, mark_noshow, trip_id=first.id, now=ward.at(1))
    assert _do(ward, mark_arrived, trip_id=first.id, nonce="n", now=ward.at(3)).seen_on == ward.day(3)


def test_only_reception_says_that_a_patient_did_not_come_and_not_before_the_day(ward):
    first = ward.trips(ward.signed())[0]
    _refused(ward, mark_noshow, "role.missing", trip_id=first.id, by=ward.surgeon, now=ward.at(1))
    _refused(ward, mark_noshow, "trip.early", trip_id=first.id, now=ward.at(0))
    # The day begins at half past six in the evening before, in UTC.
    assert _do(ward, mark_noshow, trip_id=first.id, now=ward.at(0, 18.5)).status == "noshow"


def test_a_missed_visit_stays_open(ward):
    signed = ward.signed()
    _do(ward, mark_noshow, trip_id=ward.trips(signed)[0].id, now=ward.at(1))
    with ward.store.read() as session:
        assert [t.status for t in open_trips(session)] == ["noshow", "proposed", "proposed"]
        assert [t.day for t in trips_past_window(session, ward.day(2))] == [ward.day(1)]


def test_a_visit_done_serves_all_that_it_was_for(ward):
    first = ward.trips(ward.signed())[0]
    done = _do(ward, mark_fulfilled, trip_id=first.id, now=ward.at(1))
    assert (done.status, done.served, done.seen_on) == ("fulfilled", first.serves, ward.day(1))
    _refused(ward, mark_arrived, "trip.state", trip_id=first.id, nonce="n")


def test_what_a_visit_left_out_becomes_a_visit_of_its_own(ward):
    look, macula = ward.need("look", 5, 9), ward.need("macula", 6, 20, service="macula", tier="B")
    body = ward.body(needs=(look, macula), trips=(ward.visit(1, 7, look, macula),))
    signed = ward.signed(body=body)
    visit = ward.trips(signed)[0]
    _do(ward, mark_fulfilled, trip_id=visit.id, served=("right:look",), now=ward.at(7))
    done, left = sorted(ward.trips(signed), key=lambda t: t.number)
    assert (done.status, done.served) == ("fulfilled", ("right:look",))
    assert (left.status, left.serves, left.services, left.tier) == (
        "proposed",
        ("right:macula",),
        ("macula",),
        "B",
    )
    assert (left.window_start, left.day, left.window_end) == (ward.day(6), ward.day(7), ward.day(20))


@pytest.mark.parametrize(
    ("on", "day"),
    [(7, 8), (8, 8), (10, 10), (12, 12), (13, 12)],
)
def test_two_checks_left_out_become_one_visit_in_the_days_that_are_right_for_both(sqlite_ward, on, day):
    """Macula from day 6 to 20, field from day 8 to 12: seen together, as early as the more urgent asks."""
    ward, look = sqlite_ward, sqlite_ward.need("look", 5, 20)
    macula = ward.need("macula", 6, 20, service="macula", tier="B")
    field = ward.need("field", 8, 12, service="field", tier="A")
    visit = ward.visit(1, on, look, macula, field, window_start=ward.day(5), window_end=ward.day(20))
    later = ward.visit(2, 30, ward.need("late", 30, 40))
    needs = (look, macula, field, ward.need("late", 30, 40))
    signed = ward.signed(body=ward.body(needs=needs, trips=(visit, later)))
    _do(ward, mark_fulfilled, trip_id=ward.trips(signed)[0].id, served=("right:look",), now=ward.at(on))
    left = next(one for one in ward.trips(signed) if one.number == 3)
    assert (left.window_start, left.day, left.window_end) == (ward.day(8), ward.day(day), ward.day(12))
    assert (left.status, left.tier, left.services) == ("proposed", "A", ("field", "macula"))
    assert left.serves == ("right:macula", "right:field")


def test_a_check_that_the_plan_does_not_tell_keeps_the_days_of_its_visit(sqlite_ward):
    """As a plan of an older version may leave it: what was not looked at is not lost with it."""
    ward, signed = sqlite_ward, sqlite_ward.signed()
    week = ward.trips(signed)[1]
    with ward.store.engine.begin() as connection:
        served = {"serves": '["right:week", "right:old"]', "id": week.id}
        connection.execute(text("UPDATE trip SET serves = :serves, tier = 'B' WHERE id = :id"), served)
    _do(ward, mark_fulfilled, trip_id=week.id, served=("right:week",), now=ward.at(7))
    left = next(one for one in ward.trips(signed) if one.number == 4)
    assert (left.window_start, left.day, left.window_end) == (ward.day(5), ward.day(7), ward.day(9))
    assert (left.serves, left.services, left.tier) == (("right:old",), ("review",), "B")


@pytest.mark.parametrize("served", [(), ("left:look",)])
def test_a_visit_can_not_serve_nothing_or_what_it_was_not_for(ward, served):
    visit = ward.trips(ward.signed())[0]
    _refused(ward, mark_fulfilled, "trip.served", trip_id=visit.id, served=served)


def test_a_visit_that_only_keeps_the_gap_between_two_checks_short_can_be_closed(ward):
    gap = ward.visit(1, 7, ward.need("week", 5, 9), serves=())
    visit = ward.trips(ward.signed(body=ward.body(needs=(), trips=(gap,))))[0]
    assert _do(ward, mark_fulfilled, trip_id=visit.id, now=ward.at(7)).status == "fulfilled"


def test_the_day_lists_who_is_expected_and_who_came_out_of_turn(ward):
    ward.signed("K-1")
    late = ward.trips(ward.signed("K-2"))[0]
    cancelled = ward.signed("K-3")
    _do(ward, mark_arrived, trip_id=late.id, nonce="n", now=ward.at(7))
    ward.sign(ward.draft(cancelled.patient_id, ward.body("K-3", trips=(), needs=())).id)
    with ward.store.read() as session:
        assert [(t.patient_code, t.status) for t in day_trips(session, ward.day(7))] == [
            ("K-1", "proposed"),
            ("K-2", "arrived"),
            ("K-2", "proposed"),
        ]


@pytest.mark.parametrize("standing", ["died", "moved away"])
def test_whoever_is_not_followed_any_more_is_not_expected(ward, standing):
    signed = ward.signed()
    _do(ward, set_standing, patient_id=signed.patient_id, standing=standing, reason="the daughter called")
    with ward.store.read() as session:
        assert day_trips(session, ward.day(1)) == missed_trips(session, ward.day(9)) == ()
    _do(ward, set_standing, patient_id=signed.patient_id, standing="followed", reason="it was someone else")
    with ward.store.read() as session:
        assert len(day_trips(session, ward.day(1))) == 1
        assert [t.day for t in missed_trips(session, ward.day(7))] == [ward.day(1)]


@pytest.mark.parametrize("use_case", [book_trip, mark_fulfilled, mark_noshow])
def test_a_visit_that_does_not_exist_is_refused(ward, use_case):
    _refused(ward, use_case, "trip.unknown", trip_id=4711)


def test_all_visits_of_a_patient_come_by_day(ward):
    signed = ward.signed()
    with ward.store.read() as session:
        assert [t.day for t in trips_of(session, signed.patient_id)] == [ward.day(n) for n in (1, 7, 42)]
