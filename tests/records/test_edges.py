"""What may be noted and on which day it counts: just before, at and after the clinic's own midnight."""

from __future__ import annotations

from datetime import timedelta

import pytest
from clinic_days import IDS, TURNS, Turn

from followup.clinical.protocol.load import load_protocol
from followup.records.desk.attempts import note_attempt
from followup.records.desk.leaving import close_by_findings, mark_left, unseen_ids
from followup.records.desk.leaving_checks import checks_noted, note_leaving
from followup.records.desk.taking_back import steps_of_day, take_back
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_fulfilled, mark_noshow, move_trip
from followup.records.desk.walkins import note_walk_in
from followup.records.figures.followed import visits_with_closed_window
from followup.records.plans.plans import end_plan, sign_plan, store_draft
from followup.records.trips.trips import trip, trips_of_plan

EACH_TURN = pytest.mark.parametrize("turn", TURNS, ids=IDS)


class _Desk:
    """A patient whose visits are on the evening's day, on the new day and later; whoever works there."""

    def __init__(self, ward, turn: Turn) -> None:
        ward.in_zone(turn.zone)
        self.ward, self.turn = ward, turn
        day = (turn.day - ward.day0).days
        looks = (
            ward.need("eve", day - 1, day - 1),
            ward.need("wide", day - 3, day + 20),
            ward.need("new", day, day + 9),
        )
        trips = (
            ward.visit(1, day - 1, looks[0]),
            ward.visit(2, day + 2, looks[1]),
            ward.visit(3, day, looks[2]),
        )
        code = f"K-{TURNS.index(turn)}"
        self.code, self.body = code, ward.body(code, needs=looks, trips=trips)
        self.plan = ward.signed(code, self.body)
        self.eve, self.new, self.wide = (visit.id for visit in ward.trips(self.plan))
        alone = ward.body(f"M-{code}", needs=looks[1:2], trips=(ward.visit(1, day + 2, looks[1]),))
        (self.alone,) = (visit.id for visit in ward.trips(ward.signed(f"M-{code}", alone)))

    @property
    def who(self) -> int:
        return self.plan.patient_id


@pytest.fixture(scope="module")
def desks(shared_ward):
    """One patient for every midnight."""
    return {turn: _Desk(shared_ward, turn) for turn in TURNS}


@pytest.fixture
def desk(desks, turn) -> _Desk:
    desks[turn].ward.in_zone(turn.zone)
    return desks[turn]


@EACH_TURN
def test_what_is_noted_of_a_visit_counts_on_the_clinics_own_day(desk, turn: Turn):
    would = desk.ward.would
    for said, now, begun in turn.around:
        day = turn.day if begun else turn.eve
        came = would(now, mark_arrived, trip_id=desk.wide, nonce="n")
        assert (came.status, came.seen_on) == ("arrived", day), f"an arrival at {said}"
        done = would(now, mark_fulfilled, by=desk.ward.counsellor, trip_id=desk.wide)
        assert (done.status, done.seen_on) == ("fulfilled", day), f"a visit done at {said}"
        without = would(now, note_walk_in, patient_id=desk.who, reason="red", nonce="w")
        days = {without.day, without.window_start, without.window_end, without.seen_on}
        assert days == {day}, f"without a visit, at {said}"
        tried = would(
            now, note_attempt, patient_id=desk.who, rung=0, way="call", outcome="no answer", nonce="a"
        )
        assert tried.day == day, f"a call at {said}"


# What is refused before midnight, and what after it; the other side of midnight lets it through.
REFUSALS = [
    ("an arrival before the first right day", mark_arrived, "new", {"nonce": "n"}, "trip.early", None),
    ("did not come, before the day", mark_noshow, "new", {}, "trip.early", None),
    ("a booking for a day that is over", book_trip, "eve", {}, None, "trip.past"),
    ("a move to a day that is over", move_trip, "alone", {"day": "eve"}, None, "trip.past"),
]


@EACH_TURN
def test_the_first_right_day_and_the_last_one_are_those_of_the_clinic(desk, turn: Turn):
    for said, now, begun in turn.around:
        for what, use_case, which, given, before, after in REFUSALS:
            days = {"day": turn.eve} if "day" in given else {}
            found = desk.ward.would(now, use_case, **{"trip_id": getattr(desk, which), **given, **days})
            expected = after if begun else before
            assert (found if isinstance(found, str) else None) == expected, f"{what} at {said}"


@EACH_TURN
def test_a_promise_is_for_today_or_later_by_the_clinics_own_day(desk, turn: Turn):
    given = {"patient_id": desk.who, "rung": 0, "way": "call", "outcome": "will come", "nonce": "p"}
    for said, now, begun in turn.around:
        for promised, kept in (
            (turn.eve - timedelta(days=1), False),
            (turn.eve, not begun),
            (turn.day, True),
        ):
            found = desk.ward.would(now, note_attempt, promised=promised, **given)
            assert (found == "attempt.promised") is not kept, f"{promised} promised at {said}"


@EACH_TURN
def test_whoever_left_unseen_may_come_again_and_one_who_is_here_only_on_another_day(desk, turn: Turn):
    came = turn.begins - timedelta(hours=12)

    def again(unit, *, leaves: bool):
        unit.now, now = came, unit.now
        mark_arrived(unit, trip_id=desk.wide, nonce="first")
        if leaves:
            mark_left(unit, trip_id=desk.wide)
        unit.now = now
        return mark_arrived(unit, trip_id=desk.wide, nonce="second")

    for said, now, begun in turn.around:
        here = desk.ward.would(now, again, leaves=False)
        assert (here == "trip.arrived") is not begun, f"here since noon, marked again at {said}"
        assert here == "trip.arrived" or (here.seen_on, here.arrived_at) == (turn.day, now)
        left = desk.ward.would(now, again, leaves=True)
        assert (left.status, left.left_at) == ("arrived", None), f"left unseen, here again at {said}"
        assert left.seen_on == (turn.day if begun else turn.eve)


@EACH_TURN
def test_whoever_was_here_without_a_look_stands_on_the_list_from_the_next_day_of_the_clinic_on(
    desk, turn: Turn
):
    def came(unit):
        mark_arrived(unit, trip_id=desk.wide, nonce="n")
        days = (turn.eve, turn.day, turn.day + timedelta(days=1))
        return [desk.wide in unseen_ids(unit.session, day) for day in days]

    for said, now, begun in turn.around:
        found = desk.ward.would(now, came)
        assert found == [False, not begun, True], f"here at {said}"


@EACH_TURN
def test_a_check_before_leaving_is_of_the_clinics_own_day_and_the_first_of_a_day_stands(desk, turn: Turn):
    def noted(unit):
        unit.now, now = turn.begins - timedelta(hours=12), unit.now
        note_leaving(unit, patient_id=desk.who, key="right:pressure", mmhg=18.0, why="")
        unit.now = now
        note_leaving(unit, patient_id=desk.who, key="right:pressure", mmhg=30.0, why="")
        return [len(checks_noted(unit.session, day)) for day in (turn.eve, turn.day)], len(unit.entries)

    for said, now, begun in turn.around:
        found = desk.ward.would(now, noted, by=desk.ward.counsellor)
        assert found == (([1, 1], 2) if begun else ([1, 0], 1)), f"noted at noon and at {said}"


@EACH_TURN
def test_a_look_closes_the_open_visit_only_of_whoever_is_looked_at_today(desk, turn: Turn):
    protocol, ward = load_protocol(), desk.ward
    record = ward.record(desk.code)
    look = type(record).model_validate(
        record.model_dump(mode="json", exclude_defaults=True)
        | {"reviews": [{"eye": "right", "date": turn.day.isoformat(), "cells": "0.5+", "pressure": 15}]}
    )

    def closed(unit):
        close_by_findings(unit, patient_id=desk.who, record=look, protocol=protocol, day=turn.day)
        return [visit.status for visit in trips_of_plan(unit.session, desk.plan.id)]

    for said, now, begun in turn.around:
        found = ward.would(now, closed, by=ward.surgeon)
        # All three are in their window by then, and the look was for each of them.
        assert found == (["fulfilled"] * 3 if begun else ["proposed"] * 3), f"stored at {said}"


@EACH_TURN
def test_whoever_is_here_stays_here_under_a_new_plan_and_whoever_was_here_yesterday_does_not(
    desk, turn: Turn
):
    ward, who = desk.ward, desk.who

    def signed(unit):
        unit.now, now = turn.begins - timedelta(hours=12), unit.now
        mark_arrived(unit, trip_id=desk.wide, nonce="n")
        draft = store_draft(unit, patient_id=who, record_number=1, body=ward.body(desk.code, trips=()))
        unit.now = now
        sign_plan(unit, plan_id=draft.id)
        return trip(unit.session, desk.wide).status

    def ended(unit):
        unit.now, now = turn.begins - timedelta(hours=12), unit.now
        mark_arrived(unit, trip_id=desk.wide, nonce="n")
        unit.now = now
        end_plan(unit, plan_id=desk.plan.id, completed=True, reason="healed")
        return trip(unit.session, desk.wide).status

    for said, now, begun in turn.around:
        for what, use_case in (("a new plan", signed), ("the end of the plan", ended)):
            found = ward.would(now, use_case, by=ward.everybody)
            assert found == ("cancelled" if begun else "arrived"), f"{what} signed at {said}"


@EACH_TURN
def test_a_visit_fell_due_where_its_plan_was_in_force_over_its_last_day_at_the_clinic(desk, turn: Turn):
    def never_came(unit) -> int:
        return len(visits_with_closed_window(unit.session, turn.eve, turn.day))

    def taken_off(unit) -> int:
        before = never_came(unit)
        end_plan(unit, plan_id=desk.plan.id, completed=True, reason="moved")
        return before - never_came(unit)

    for said, now, begun in turn.around:
        found = desk.ward.would(now, taken_off, by=desk.ward.surgeon)
        assert found == (0 if begun else 1), f"the plan ended at {said}"


@EACH_TURN
def test_a_step_is_taken_back_on_its_own_day_of_the_clinic_alone(desk, turn: Turn):
    def noted_then(unit, *, then):
        """Noted now; what can be taken back at another instant."""
        mark_arrived(unit, trip_id=desk.wide, nonce="n")
        _written(unit)
        steps = steps_of_day(unit.session, then, [desk.code])
        if not steps:
            return False
        unit.now = then
        take_back(unit, patient_id=desk.who, entry=steps[0].number)
        return trip(unit.session, desk.wide).status == "proposed"

    for noted, now, of_new_day in turn.around:
        for said, then, begun in turn.around:
            found = desk.ward.would(now, noted_then, then=then)
            assert found is (of_new_day == begun), f"noted at {noted}, taken back at {said}"


def _written(unit) -> None:
    """The unit's entries stand in the journal before it ends."""
    from followup.records.store import journal

    journal.append(unit.session, unit.entries, actor=unit.actor.login, now=unit.now)
    unit.entries.clear()
    unit.session.flush()
