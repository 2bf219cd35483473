"""Which visits a look closes: of its own patient and day, under way or in their window, and no other."""

from __future__ import annotations

import pytest
from crowd import EVERYBODY

from followup.clinical.careplan import CheckGap
from followup.clinical.protocol.load import load_protocol
from followup.records.desk.leaving import close_by_findings, mark_left, mark_unseen
from followup.records.desk.trip_steps import mark_arrived, mark_fulfilled, mark_noshow
from followup.records.desk.walkins import note_walk_in
from followup.records.plans.plans import sign_plan, store_draft
from followup.records.trips.trips import trip, trips_of_plan

PROTOCOL = load_protocol()


@pytest.fixture(scope="module")
def two(shared_ward):
    """K-1 and K-2, each with visits on the days 1 (to 1), 7 (5 to 9) and 42 (29 to 56)."""
    plans = [shared_ward.signed(code) for code in ("K-1", "K-2")]
    shared_ward.ids = [plan.patient_id for plan in plans]
    shared_ward.plans = [plan.id for plan in plans]
    shared_ward.visits = [[visit.id for visit in shared_ward.trips(plan)] for plan in plans]
    return shared_ward


def _look(ward, day: int, **seen):
    record = ward.record("K-1")
    found = seen or {"cells": "0.5+", "pressure": 15}
    review = {"eye": "right", "date": ward.day(day).isoformat(), **found}
    data = record.model_dump(mode="json", exclude_defaults=True) | {"reviews": [review]}
    return type(record).model_validate(data)


# What is stored: a look of which day, on which day; and how K-1's three visits and K-2's stand then.
OPEN = ["proposed", "proposed", "proposed"]
LOOKS = [
    (1, 1, ["fulfilled", "proposed", "proposed"]),
    (4, 4, ["fulfilled", "proposed", "proposed"]),
    (5, 5, ["fulfilled", "fulfilled", "proposed"]),
    (28, 28, ["fulfilled", "fulfilled", "proposed"]),
    # The last visit is for refraction, which this look has not seen.
    (29, 29, ["fulfilled", "fulfilled", "proposed"]),
    # Written down later: nobody was marked as here on that day, and nothing is guessed.
    (7, 8, OPEN),
]


@pytest.mark.parametrize(("day", "stored", "states"), LOOKS)
def test_a_look_of_today_closes_the_open_visits_whose_window_has_begun(two, day, stored, states):
    def closed(unit):
        record = _look(two, day)
        close_by_findings(unit, patient_id=two.ids[0], record=record, protocol=PROTOCOL, day=two.day(day))
        return [[visit.status for visit in trips_of_plan(unit.session, plan)] for plan in two.plans]

    assert two.would(two.at(stored), closed, by=EVERYBODY) == [states, OPEN]


def test_a_look_closes_the_visit_under_way_on_its_own_day_and_leaves_every_other_as_it_is(two):
    first, week, late = two.visits[0]

    def closed(unit, *, day: int):
        now = unit.now
        unit.now = two.at(6)
        mark_arrived(unit, trip_id=first, nonce="on day 6")
        mark_fulfilled(unit, trip_id=first)
        mark_arrived(unit, trip_id=week, nonce="on day 6 too")
        mark_arrived(unit, trip_id=two.visits[1][1], nonce="another patient on day 6")
        unit.now = now
        record = _look(two, day)
        close_by_findings(unit, patient_id=two.ids[0], record=record, protocol=PROTOCOL, day=two.day(day))
        return [trip(unit.session, number).status for number in (first, week, late, two.visits[1][1])]

    for day, stored, state in (
        (6, 6, "fulfilled"),
        (6, 9, "fulfilled"),
        (9, 9, "arrived"),
        (5, 9, "arrived"),
    ):
        found = two.would(two.at(stored), closed, by=EVERYBODY, day=day)
        assert found == ["fulfilled", state, "proposed", "arrived"], f"a look of day {day}, on day {stored}"


def test_a_missed_visit_is_closed_too_and_one_of_a_replaced_plan_is_not(two):
    def closed(unit):
        mark_noshow(unit, trip_id=two.visits[0][0])
        body = two.body()
        draft = store_draft(unit, patient_id=two.ids[0], record_number=1, body=body)
        new = sign_plan(unit, plan_id=draft.id).id
        mark_noshow(unit, trip_id=trips_of_plan(unit.session, new)[0].id)
        record = _look(two, 7)
        close_by_findings(unit, patient_id=two.ids[0], record=record, protocol=PROTOCOL, day=two.day(7))
        return [[visit.status for visit in trips_of_plan(unit.session, plan)] for plan in (two.plans[0], new)]

    old, new = two.would(two.at(7), closed, by=EVERYBODY)
    assert old == ["cancelled"] * 3
    assert new == ["fulfilled", "fulfilled", "proposed"]


def test_where_nothing_was_looked_at_a_visit_is_open_again_and_one_who_came_without_was_never_here(two):
    """A visit that keeps two checks close serves no need of its own, and is a visit all the same."""

    def unseen(unit):
        week = two.need("week", 5, 9)
        between = two.visit(1, 7, week, serves=())
        body = two.body(needs=(week,), trips=(between,))
        draft = store_draft(unit, patient_id=two.ids[0], record_number=1, body=body)
        (gap,) = trips_of_plan(unit.session, sign_plan(unit, plan_id=draft.id).id)
        walk = note_walk_in(unit, patient_id=two.ids[1], reason="red", nonce="walk")
        states = []
        for number in (gap.id, two.visits[1][1]):
            mark_arrived(unit, trip_id=number, nonce=f"here {number}")
        for number in (gap.id, two.visits[1][1], walk.id):
            seen = mark_unseen(unit, trip_id=number)
            states.append((seen.status, seen.seen_on, seen.arrived_at))
        return states

    found = two.would(two.at(7), unseen, by=EVERYBODY)
    assert found == [("proposed", None, None), ("proposed", None, None), ("cancelled", None, None)]


# What was seen, and whether a walk-in and a visit between two checks of the pressure are done by it.
SEEN = [
    ({"cells": "0.5+", "pressure": 15}, True, True),
    ({"pressure": 15}, True, True),
    ({"cells": "0.5+"}, True, False),
    ({"cells": "0.5+", "pressure": "not done"}, True, False),
    ({"cells": "not seen", "pressure": "not done"}, False, False),
]


@pytest.mark.parametrize(("seen", "walk_in", "between"), SEEN)
def test_a_visit_without_a_check_of_its_own_is_done_by_what_the_plan_watches_and_a_walk_in_by_any_look(
    two, seen, walk_in, between
):
    def closed(unit):
        gap = CheckGap(
            key="right:pressure", eye="right", kind="pressure", limit=28, from_count=1,
            finding="pressure", first=two.day(1), last=two.day(28),
        )  # fmt: skip
        trips = (two.visit(1, 7, two.need("week", 5, 9), serves=()),)
        body = two.body(needs=(), trips=trips, gaps=(gap,))
        draft = store_draft(unit, patient_id=two.ids[0], record_number=1, body=body)
        (visit,) = trips_of_plan(unit.session, sign_plan(unit, plan_id=draft.id).id)
        walk = note_walk_in(unit, patient_id=two.ids[0], reason="red", nonce="walk")
        record = _look(two, 7, **seen)
        close_by_findings(unit, patient_id=two.ids[0], record=record, protocol=PROTOCOL, day=two.day(7))
        return [trip(unit.session, number).status == "fulfilled" for number in (walk.id, visit.id)]

    assert two.would(two.at(7), closed, by=EVERYBODY) == [walk_in, between]


def test_a_look_that_saw_a_part_closes_that_part_and_leaves_the_rest_to_see(two):
    """A look at cells sees the wound's week, not the refraction that the same visit is for."""

    def partly(unit, *, arrives: bool):
        week, refraction = two.need("week", 5, 9), two.need("refraction", 5, 9)
        body = two.body(needs=(week, refraction), trips=(two.visit(1, 7, week, refraction),))
        draft = store_draft(unit, patient_id=two.ids[0], record_number=1, body=body)
        plan = sign_plan(unit, plan_id=draft.id).id
        (visit,) = trips_of_plan(unit.session, plan)
        if arrives:
            mark_arrived(unit, trip_id=visit.id, nonce="here")
        stands = []
        for _ in range(2):
            before, record = len(unit.entries), _look(two, 7)
            close_by_findings(unit, patient_id=two.ids[0], record=record, protocol=PROTOCOL, day=two.day(7))
            found = [(one.status, one.served) for one in trips_of_plan(unit.session, plan)]
            stands.append((found, len(unit.entries) - before))
        if arrives:
            for _ in range(2):
                mark_left(unit, trip_id=visit.id)
                stands.append([(one.status, one.serves) for one in trips_of_plan(unit.session, plan)])
        return stands

    first, again, *left = two.would(two.at(7), partly, by=EVERYBODY, arrives=True)
    assert first == ([("arrived", ("right:week",))], 1)
    assert again == ([("arrived", ("right:week",))], 0)
    done = [("fulfilled", ("right:week", "right:refraction")), ("proposed", ("right:refraction",))]
    assert left == [done, done]
    # Where nobody marked the arrival the visit is done, and what it did not see is a visit of its own.
    first, again = two.would(two.at(7), partly, by=EVERYBODY, arrives=False)
    assert first == ([("fulfilled", ("right:week",)), ("proposed", ())], 1)
    assert again == (first[0], 0)
