"""What is written about one patient, day, job or person leaves the row beside it alone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from changed_records import records_since
from crowd import EVERYBODY
from sqlmodel import select

from followup.errors import FollowupError
from followup.records.desk.alerts import alerts_of_code, close_alert, close_walk_ins, open_alert, open_alerts
from followup.records.desk.leaving_checks import checks_noted, note_leaving, operated_on
from followup.records.desk.trip_steps import book_trip, mark_arrived, move_trip
from followup.records.figures.expected import operations_without_plan
from followup.records.people.oplist import (
    ListLine,
    check_against_list,
    operation_list,
    operations_on,
    put_operation_list,
    surgeons_of,
)
from followup.records.people.patients import (
    correct_record,
    lock_patient,
    newest_record,
    patient,
    record_versions,
)
from followup.records.plans.bound import verify_all
from followup.records.plans.completing import complete_plan, plans_to_complete
from followup.records.plans.desk_notes import count_stock, stock
from followup.records.store.sites import Site, put_site
from followup.records.tables import JournalRow, PatientRow
from followup.records.trips.places import places_taken, planning_calendar, release_places, take_places
from followup.records.trips.trips import trips_of_plan
from followup.timing.calendar import parse_calendar

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


@pytest.fixture(scope="module")
def two(shared_ward):
    """Two patients with signed plans (visits on the days 1, 7 and 42), K-1 and K-2."""
    plans = [shared_ward.signed(code) for code in ("K-1", "K-2")]
    shared_ward.ids = [plan.patient_id for plan in plans]
    shared_ward.visits = [[visit.id for visit in shared_ward.trips(plan)] for plan in plans]
    shared_ward.plans = [plan.id for plan in plans]
    return shared_ward


def _tried(ward, does, now=None, by=EVERYBODY):
    found = ward.would(now or ward.now, does, by=by)
    assert not isinstance(found, str), found
    return found


# Eyes in danger


def _alert(unit, patient: int, day, kind="senior review", eye="right", signs=("fibrin",)) -> None:
    open_alert(unit, patient_id=patient, kind=kind, day=day, signs=signs, eye=eye)


def test_a_senior_review_is_opened_once_for_one_look_and_anew_for_any_other(two):
    one, other = two.ids

    def opened(unit):
        counts = []
        for who, day, kind, eye, signs in (
            (one, 1, "senior review", "right", ("fibrin", "level")),
            # The same look with nothing new: nothing is opened.
            (one, 1, "senior review", "right", ("fibrin",)),
            (one, 1, "senior review", "right", ("level", "fibrin")),
            # Another sign, day, eye or patient, or the eye not said: each opens its own.
            (one, 1, "senior review", "right", ("pain",)),
            (one, 2, "senior review", "right", ("fibrin",)),
            (one, 1, "senior review", "left", ("fibrin",)),
            (other, 1, "senior review", "right", ("fibrin",)),
            (one, 1, "senior review", None, ("fibrin",)),
            (one, 1, "senior review", None, ("fibrin",)),
            # What was said at the window is no look: it stands beside the review, each time.
            (one, 1, "walk-in", "right", ("fibrin",)),
            (one, 1, "walk-in", "right", ("fibrin",)),
            (one, 3, "walk-in", "right", ("fibrin",)),
            (one, 3, "senior review", "right", ("fibrin",)),
        ):
            before = len(open_alerts(unit.session))
            _alert(unit, who, two.day(day), kind, eye, signs)
            counts.append(len(open_alerts(unit.session)) - before)
        return counts

    assert _tried(two, opened) == [1, 0, 0, 1, 1, 1, 1, 1, 0, 1, 1, 1, 1]


def test_open_alerts_are_those_of_whom_they_were_opened_for_until_they_are_closed(two):
    one, other = two.ids

    def read(unit):
        _alert(unit, one, two.day(1))
        _alert(unit, one, two.day(1), kind="walk-in")
        _alert(unit, other, two.day(1), kind="walk-in")
        session = unit.session
        seen = [
            [a.patient_id for a in found] for found in (open_alerts(session), open_alerts(session, [one]))
        ]
        of_code = [len(alerts_of_code(session, code)) for code in ("K-1", "K-2", "K-3")]
        close_walk_ins(unit, lock_patient(unit, one), word="seen")
        still = [(a.patient_id, a.kind) for a in open_alerts(session)]
        (review,) = open_alerts(session, [one])
        close_alert(unit, patient_id=one, alert_id=review.id, word="cells 1+, drops raised")
        return seen, of_code, still, [a.patient_id for a in open_alerts(session)]

    seen, of_code, still, last = _tried(two, read)
    # What was said at the window comes first.
    assert seen == [[one, other, one], [one, one]]
    assert of_code == [2, 1, 0]
    assert still == [(other, "walk-in"), (one, "senior review")]
    assert last == [other]


def test_what_was_said_at_the_window_is_closed_once(two):
    def closed(unit):
        patient = lock_patient(unit, two.ids[0])
        _alert(unit, patient.id, two.day(1), kind="walk-in")
        counts = []
        for word in ("seen", "seen again"):
            before = len(unit.entries)
            close_walk_ins(unit, patient, word=word)
            counts.append(len(unit.entries) - before)
        return counts

    assert _tried(two, closed) == [1, 0]


def test_an_alert_is_closed_for_its_own_patient_alone(two):
    one, other = two.ids

    def of_another(unit):
        _alert(unit, one, two.day(1))
        (review,) = open_alerts(unit.session)
        close_alert(unit, patient_id=other, alert_id=review.id, word="done")

    assert two.would(two.now, of_another, by=EVERYBODY) == "alert.unknown"


# The day of surgery


def test_a_check_before_leaving_is_of_one_patient_one_check_and_one_day(two):
    one, other = two.ids

    def noted(unit):
        counts = []
        for who, key, day in (
            (one, "right:pressure", 0),
            (one, "right:pressure", 0),
            (other, "right:pressure", 0),
            (one, "left:pressure", 0),
            (one, "right:pressure", 1),
        ):
            unit.now = two.at(day)
            before = len(unit.entries)
            note_leaving(unit, patient_id=who, key=key, mmhg=18, why="")
            counts.append(len(unit.entries) - before)
        return counts, checks_noted(unit.session, two.day(0)), checks_noted(unit.session, two.day(1))

    counts, first, second = _tried(two, noted)
    assert counts == [1, 0, 1, 1, 1]
    assert first == {(one, "right:pressure"), (other, "right:pressure"), (one, "left:pressure")}
    assert second == {(one, "right:pressure")}


def test_operated_on_that_day_and_no_other(two):
    with two.store.read() as session:
        assert operated_on(session, two.day(0)) == {(number, "right") for number in two.ids}
        assert operated_on(session, two.day(1)) == operated_on(session, two.day(-1)) == frozenset()


# The operation list

K1_LEFT = ListLine("K-1", "W", "left")


def test_the_list_of_one_day_is_read_checked_and_replaced_alone(two):
    def listed(unit):
        session = unit.session
        put_operation_list(unit, day=two.day(0), lines=[ListLine("K-1", "W", "right")])
        put_operation_list(
            unit, day=two.day(1), lines=[ListLine("K-1", "W", "left"), ListLine("K-9", "N", "left")]
        )
        put_operation_list(unit, day=two.day(2), lines=[ListLine("K-2", "W", "left")])
        put_operation_list(unit, day=two.day(2), lines=[ListLine("K-8", "W", "left")])
        lists = [[line.patient_code for line in operation_list(session, two.day(n))] for n in range(4)]
        records = [two.record(code) for code in ("K-1", "K-2", "K-9")]
        checks = [[check.result for check in check_against_list(session, record)] for record in records]
        shown = [
            [(o.patient_code, o.eye, o.on_list, o.entered, o.patient_id) for o in operations_on(session, day)]
            for day in map(two.day, range(3))
        ]
        waiting = []
        for first, last in ((0, 2), (1, 1), (0, 0), (2, 2), (3, 9)):
            found = operations_without_plan(session, two.day(first), two.day(last))
            waiting.append({(day - two.day0).days: count for day, count in found.items()})
        return lists, checks, shown, waiting

    lists, checks, shown, waiting = _tried(two, listed)
    one, other = two.ids
    assert lists == [["K-1"], ["K-1", "K-9"], ["K-8"], []]
    # On the day of the operation the list names K-1's right eye; what other days and others say is no matter.
    assert checks == [["agrees"], ["not on the list"], ["not on the list"]]
    assert shown == [
        [("K-1", "right", True, True, one), ("K-2", "right", False, True, other)],
        [("K-1", "left", True, False, one), ("K-9", "left", True, False, None)],
        [("K-8", "left", True, False, None)],
    ]
    # K-1 and K-2 have plans, so that day 0 waits for nothing; K-1's other eye on day 1 has none.
    assert waiting == [{1: 2, 2: 1}, {1: 2}, {}, {2: 1}, {}]


def test_an_entered_operation_counts_as_waiting_only_on_its_day_and_until_there_is_a_plan(two):
    from followup.records.people.patients import enter_record
    from followup.records.plans.plans import end_plan, store_draft

    def counted(unit):
        def waiting():
            found = []
            for day in (-1, 0, 1):
                found.append(sum(operations_without_plan(unit.session, two.day(day), two.day(day)).values()))
            return found

        steps = [waiting()]
        new = enter_record(unit, record=two.record("K-3")).patient_id
        steps.append(waiting())
        body = two.body("K-3")
        store_draft(unit, patient_id=new, record_number=1, body=body)
        steps.append(waiting())
        end_plan(unit, plan_id=two.plans[0], completed=False, reason="planned anew")
        steps.append(waiting())
        return steps

    assert _tried(two, counted) == [[0, 0, 0], [0, 1, 0], [0, 0, 0], [0, 1, 0]]


def test_who_operated_is_told_of_each_patient_by_name_as_it_is_compared(two):
    def told(unit):
        record = two.record("K-1")
        operation = record.operations[0].model_copy(update={"surgeon": "Dr  SEN"})
        own = record.model_copy(update={"operations": (operation,)})
        correct_record(unit, patient_id=two.ids[0], record=own, seen=1)
        return surgeons_of(unit.session, two.ids[:1]), surgeons_of(unit.session, two.ids)

    one, both = _tried(two, told)
    assert one == {two.ids[0]: {"dr sen"}}
    assert both == {two.ids[0]: {"dr sen"}, two.ids[1]: frozenset()}


def test_a_correction_changes_and_counts_its_own_patient_alone(two):
    def corrected(unit):
        before = records_since(unit.session, unit.now - MINUTE)
        unit.now += HOUR
        correct_record(unit, patient_id=two.ids[0], record=two.record("K-1", eye="left"), seen=1)
        session = unit.session
        return (
            sorted(before),
            [len(record_versions(session, number)) for number in two.ids],
            [newest_record(session, number).number for number in two.ids],
            [patient(session, number).eyes for number in two.ids],
            {
                who: [o.eye for o in found.operations]
                for who, found in records_since(session, unit.now).items()
            },
            [sorted(records_since(session, unit.now + step)) for step in (-HOUR, -MINUTE, MINUTE)],
            sorted(operated_on(session, two.day0)),
        )

    before, versions, newest, eyes, found, since, operated = _tried(two, corrected)
    one, other = two.ids
    assert before == [one, other]
    assert (versions, newest, eyes) == ([2, 1], [2, 1], [("left",), ("right",)])
    assert found == {one: ["left"]}
    assert since == [[one, other], [one], []]
    assert operated == [(one, "left"), (other, "right")]


# Places


def test_places_are_counted_by_service_day_and_site_each_alone(two):
    limited = parse_calendar({"services": [{"name": name, "capacity": 1} for name in ("review", "macula")]})
    seven = two.day(7)

    def taken(unit):
        session, steps = unit.session, []
        ridge = put_site(unit, Site(0, "RIDGE", "Ridge room")).id

        def now():
            found = places_taken(session, two.day(6), two.day(8))
            steps.append({(name, (day - two.day0).days): n for (name, day), n in found.items() if n})

        take_places(unit, limited, services=["review"], day=seven)
        for service, day, site in (("macula", 7, 1), ("review", 8, 1), ("review", 7, ridge)):
            take_places(unit, limited, services=[service], day=two.day(day), site=site)
        now()
        with pytest.raises(FollowupError) as full:
            take_places(unit, limited, services=["review"], day=seven)
        assert full.value.code == "place.full"
        take_places(unit, limited, services=["review"], day=seven, overbook=["review"])
        now()
        release_places(unit, services=["review"], day=seven)
        release_places(unit, services=["review"], day=seven)
        release_places(unit, services=["review"], day=seven)
        now()
        take_places(unit, limited, services=["review"], day=seven)
        now()
        take_places(unit, limited, services=["review"], day=two.day(20))
        spans = ((9, 19), (20, 20), (19, 21), (21, 30))
        edges = [len(places_taken(session, two.day(a), two.day(b))) for a, b in spans]
        return steps, edges

    steps, edges = _tried(two, taken)
    rest = {("macula", 7): 1, ("review", 8): 1}
    assert steps == [
        {("review", 7): 1, **rest},
        {("review", 7): 2, **rest},
        rest,
        {("review", 7): 1, **rest},
    ]
    assert edges == [0, 1, 1, 0]


def test_the_calendar_for_planning_frees_the_places_of_the_patients_own_booked_visits_alone(two):
    def planned(unit):
        def taken():
            calendars = [planning_calendar(unit.session, who) for who in (None, *two.ids)]
            return [[calendar.taken(two.day(day), "review") for day in (1, 7, 42)] for calendar in calendars]

        hill = put_site(unit, Site(0, "LEDGE", "Ledge room")).id
        take_places(unit, parse_calendar({}), services=["review"], day=two.day(7), site=hill)
        book_trip(unit, trip_id=two.visits[0][1])
        one_booked = taken()
        book_trip(unit, trip_id=two.visits[1][1])
        return one_booked, taken()

    # A visit that is only proposed holds no place, so that there is none of its own to free.
    one_booked, both = _tried(two, planned)
    assert one_booked == [[0, 1, 0], [0, 0, 0], [0, 1, 0]]
    assert both == [[0, 2, 0], [0, 1, 0], [0, 1, 0]]


def test_the_shelf_is_counted_at_each_site_alone(two):
    with two.store.write(EVERYBODY, two.now) as unit:
        hill = put_site(unit, Site(0, "HILL", "Hill room")).id
        unit.log("site added", "site:HILL")
        count_stock(unit, counts={"dexamethasone-0-1": 12})
    with two.store.for_site(hill).read() as session:
        assert stock(session) == {}
    with two.store.read() as session:
        assert {name: count.bottles for name, count in stock(session).items()} == {"dexamethasone-0-1": 12}


# Visits beside each other


def test_a_visit_is_held_in_its_order_by_the_visits_of_its_own_plan_that_are_still_to_come(two):
    """From day 7 to 9: that another patient is there, or that a visit of the plan is over, is no matter."""

    def moved(unit):
        move_trip(unit, trip_id=two.visits[1][1], day=two.day(9))
        return move_trip(unit, trip_id=two.visits[0][1], day=two.day(9)).day

    assert _tried(two, moved) == two.day(9)

    def past_one_that_is_over(unit):
        from followup.records.desk.trip_steps import mark_fulfilled

        looks = [two.need("a", 1, 30), two.need("b", 2, 30)]
        from followup.records.plans.plans import sign_plan, store_draft

        body = two.body(needs=tuple(looks), trips=(two.visit(1, 4, looks[0]), two.visit(2, 8, looks[1])))
        plan = sign_plan(
            unit, plan_id=store_draft(unit, patient_id=two.ids[0], record_number=1, body=body).id
        )
        first, second = (visit.id for visit in trips_of_plan(unit.session, plan.id))
        mark_arrived(unit, trip_id=first, nonce="first look")
        with pytest.raises(FollowupError) as refused:
            move_trip(unit, trip_id=second, day=two.day(4))
        mark_fulfilled(unit, trip_id=first)
        return refused.value.code, move_trip(unit, trip_id=second, day=two.day(3)).day

    assert _tried(two, past_one_that_is_over, two.at(2)) == ("trip.order", two.day(3))


def test_a_form_marks_an_arrival_once_whoever_else_arrives(two):
    def arrived(unit):
        mark_arrived(unit, trip_id=two.visits[0][0], nonce="one")
        return [mark_arrived(unit, trip_id=two.visits[1][0], nonce="two").status, len(unit.entries)]

    assert _tried(two, arrived, two.at(1)) == ["arrived", 2]


# A plan that is over


def test_a_plan_is_over_the_day_after_its_last_drop_and_waits_for_nobody_elses_visit_draft_or_alert(two):
    from followup.clinical.careplan import Course, Step
    from followup.records.plans.plans import sign_plan, store_draft

    def over(unit):
        one, other = two.ids
        drops = Course.model_validate(
            {"key": "right:steroid", "role": "steroid", "medicine": "dexamethasone-0-1", "eye": "right"}
            | {"steps": (Step(start=two.day(1), days=9, count=4),)}
        )
        body = two.body(needs=(), trips=(), courses=(drops,))
        plan = sign_plan(unit, plan_id=store_draft(unit, patient_id=one, record_number=1, body=body).id).id
        store_draft(unit, patient_id=other, record_number=1, body=two.body("K-2"))
        _alert(unit, other, two.day(1))
        found = [plan in plans_to_complete(unit.session, two.day(day)) for day in (8, 9, 10, 11)]
        _alert(unit, one, two.day(1))
        waits = [plan in plans_to_complete(unit.session, two.day(11))]
        (mine,) = open_alerts(unit.session, [one])
        close_alert(unit, patient_id=one, alert_id=mine.id, word="done")
        waits.append(plan in plans_to_complete(unit.session, two.day(11)))
        store_draft(unit, patient_id=one, record_number=1, body=body)
        waits.append(plan in plans_to_complete(unit.session, two.day(11)))
        done = complete_plan(unit, plan_id=plan, today=two.day(11))
        return found, waits, done

    found, waits, done = _tried(two, over)
    # The last drop is on day 9.
    assert found == [False, False, True, True]
    assert waits == [False, True, False]
    assert done is False


# What is bound to the journal


def test_every_signed_plan_and_nothing_else_is_compared_with_its_entry(two):
    with two.store.read() as session:
        found = verify_all(session)
        signed = [row for row in session.exec(select(JournalRow)) if row.action == "plan signed"]
    assert found.bound.plans == len(signed) == 2

    def drafted_and_corrected(unit):
        from followup.records.plans.plans import store_draft

        correct_record(unit, patient_id=two.ids[0], record=two.record("K-1", can_read=False), seen=1)
        store_draft(unit, patient_id=two.ids[0], record_number=2, body=two.body())
        other = unit.session.get(PatientRow, two.ids[1])
        return verify_all(unit.session).bound.plans, other.record_number

    assert _tried(two, drafted_and_corrected) == (2, 1)
