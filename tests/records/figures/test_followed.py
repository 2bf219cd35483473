"""How completely patients are followed up: each look that fell due counts once, however often planned."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.records.desk.taking_back import steps_of_day, take_back
from followup.records.desk.trip_steps import mark_arrived, mark_fulfilled, mark_noshow
from followup.records.desk.walkins import note_walk_in
from followup.records.figures.followed import visits_with_closed_window
from followup.records.people.patients import correct_record
from followup.records.plans.plans import end_plan

LONG_BEFORE = date(2027, 1, 1)


def _counted(ward, day: int, *, start: date = LONG_BEFORE) -> list[str]:
    with ward.store.read() as session:
        return sorted(one.result for one in visits_with_closed_window(session, start, ward.day(day)))


def _come(ward, visit, day: int, served: tuple[str, ...] | None = None) -> None:
    with ward.store.write(ward.reception, ward.at(day)) as unit:
        mark_arrived(unit, trip_id=visit.id, nonce=f"form-{visit.id}-{day}")
    with ward.store.write(ward.counsellor, ward.at(day)) as unit:
        mark_fulfilled(unit, trip_id=visit.id, served=served)


def _again(ward, patient: int, day: int, *looks, record: int = 1, **more):
    """A new plan, signed on ``day``, with a visit for each of ``looks``."""
    visits = tuple(ward.visit(i, (look.latest - ward.day0).days, look) for i, look in enumerate(looks, 1))
    body = ward.body(**{"needs": looks, "trips": visits, "as_of": ward.day(day), **more})
    plan = ward.draft(patient, body, record_number=record)
    return ward.sign(plan.id, now=ward.at(day))


@pytest.fixture
def one_look(ward):
    """A plan with one look, from day 5 to day 9; its last day is over from day 10 on."""
    look = ward.need("wound", 5, 9)
    return ward.signed(body=ward.body(needs=(look,), trips=(ward.visit(1, 7, look),)))


def test_a_look_is_in_time_late_or_never(ward, one_look):
    assert _counted(ward, 9) == []
    assert _counted(ward, 10) == ["never"]
    _come(ward, ward.trips(one_look)[0], 11)
    assert _counted(ward, 12) == ["late"]


def test_a_missed_visit_that_is_planned_again_and_missed_again_counts_once(ward, one_look):
    with ward.store.write(ward.reception, ward.at(8)) as unit:
        mark_noshow(unit, trip_id=ward.trips(one_look)[0].id)
    _again(ward, one_look.patient_id, 10, ward.need("wound", 10, 12))
    assert _counted(ward, 11) == ["never"]
    assert _counted(ward, 14) == ["never"]


def test_a_missed_visit_that_is_caught_up_under_a_new_plan_is_late_and_counts_once(ward, one_look):
    new = _again(ward, one_look.patient_id, 10, ward.need("wound", 10, 12))
    _come(ward, ward.trips(new)[0], 11)
    assert _counted(ward, 12) == ["late"]
    assert _counted(ward, 20) == ["late"]
    # It fell due on day 9: a quarter that begins later does not count it, nor what caught it up.
    assert _counted(ward, 20, start=ward.day(10)) == []


def test_a_visit_that_is_planned_again_before_its_last_day_is_judged_by_the_new_day(ward, one_look):
    new = _again(ward, one_look.patient_id, 6, ward.need("wound", 5, 14))
    assert _counted(ward, 12) == []
    _come(ward, ward.trips(new)[0], 13)
    assert _counted(ward, 15) == ["in time"]


def test_a_visit_of_a_plan_that_was_ended_after_its_last_day_was_missed(ward, one_look):
    with ward.store.write(ward.surgeon, ward.at(20)) as unit:
        end_plan(unit, plan_id=one_look.id, completed=True, reason="did not come any more")
    assert _counted(ward, 30) == ["never"]


def test_a_visit_whose_plan_ended_before_its_last_day_never_fell_due(ward, one_look):
    with ward.store.write(ward.surgeon, ward.at(9)) as unit:
        end_plan(unit, plan_id=one_look.id, completed=True, reason="operated elsewhere")
    assert _counted(ward, 30) == []


def test_a_look_that_comes_again_after_it_was_done_is_another_look(ward, one_look):
    _come(ward, ward.trips(one_look)[0], 7)
    new = _again(ward, one_look.patient_id, 8, ward.need("wound", 20, 22))
    assert _counted(ward, 23) == ["in time", "never"]
    _come(ward, ward.trips(new)[0], 30)
    assert _counted(ward, 31) == ["in time", "late"]


def test_a_look_written_down_without_marking_the_visit_counts_from_the_next_signed_plan_on(ward, one_look):
    done = ward.need("wound", 5, 9, state="served", served_on=ward.day(8))
    _again(ward, one_look.patient_id, 10, done, trips=())
    assert _counted(ward, 11) == ["in time"]


def test_what_was_left_over_at_a_visit_is_a_look_of_its_own(ward):
    wound, week = ward.need("wound", 5, 9), ward.need("week", 5, 9)
    plan = ward.signed(body=ward.body(needs=(wound, week), trips=(ward.visit(1, 7, wound, week),)))
    _come(ward, ward.trips(plan)[0], 7, served=("right:wound",))
    assert _counted(ward, 10) == ["in time", "never"]
    new = _again(ward, plan.patient_id, 11, ward.need("week", 11, 13))
    _come(ward, ward.trips(new)[0], 12)
    assert _counted(ward, 20) == ["in time", "late"]


def test_the_same_look_after_a_second_operation_does_not_catch_up_the_first_ones(ward, one_look):
    record = ward.record()
    again = record.operations[0].model_copy(update={"date": ward.day(12)})
    both = record.model_copy(update={"operations": (*record.operations, again)})
    with ward.store.write(ward.counsellor, ward.at(12)) as unit:
        correct_record(unit, patient_id=one_look.patient_id, record=both, seen=1)
    new = _again(ward, one_look.patient_id, 12, ward.need("wound", 17, 21), record=2)
    _come(ward, ward.trips(new)[0], 19)
    assert _counted(ward, 30) == ["in time", "never"]


def test_a_plan_made_before_the_day_of_its_operation_is_for_that_operation(sqlite_ward):
    """Its visit is missed, and caught up under a plan made after the operation: one look, late."""
    ward, look = sqlite_ward, sqlite_ward.need("wound", 5, 9)
    body = ward.body(needs=(look,), trips=(ward.visit(1, 7, look),), as_of=ward.day(-1))
    plan = ward.signed(body=body)
    new = _again(ward, plan.patient_id, 10, ward.need("wound", 10, 12))
    _come(ward, ward.trips(new)[0], 11)
    assert _counted(ward, 13) == ["late"]


def test_visits_between_two_checks_count_one_by_one_and_are_caught_up_by_any_visit_of_a_new_plan(ward):
    first, second = ward.need("wound", 1, 1), ward.need("refraction", 29, 30)
    between = [
        ward.visit(n, day, second).model_copy(
            update={
                "serves": (),
                "services": ("pressure",),
                "window_start": ward.day(day),
                "window_end": ward.day(day),
            }
        )
        for n, day in ((2, 10), (3, 20))
    ]
    trips = (ward.visit(1, 1, first), *between, ward.visit(4, 30, second))
    plan = ward.signed(body=ward.body(needs=(first, second), trips=trips))
    _come(ward, ward.trips(plan)[0], 1)
    assert _counted(ward, 21) == ["in time", "never", "never"]
    new = _again(ward, plan.patient_id, 21, ward.need("look", 21, 23))
    _come(ward, ward.trips(new)[0], 22)
    assert _counted(ward, 24) == ["in time", "in time", "late", "never"]


def test_whoever_comes_without_a_visit_makes_no_look_fall_due(ward, one_look):
    with ward.store.write(ward.reception, ward.at(3)) as unit:
        note_walk_in(unit, patient_id=one_look.patient_id, reason="red eye", nonce="a form of day three")
    assert _counted(ward, 5) == []


def test_what_was_taken_back_never_was(ward):
    wound, week = ward.need("wound", 5, 9), ward.need("week", 5, 9)
    plan = ward.signed(body=ward.body(needs=(wound, week), trips=(ward.visit(1, 7, wound, week),)))
    _come(ward, ward.trips(plan)[0], 7, served=("right:wound",))
    with ward.store.read() as session:
        done = next(s for s in steps_of_day(session, ward.at(7), ["K-1"]) if s.action == "visit done")
    with ward.store.write(ward.reception, ward.at(7)) as unit:
        take_back(unit, entry=done.number, patient_id=plan.patient_id)
    # One visit, as before; that the patient was here says nothing of what was looked at.
    assert _counted(ward, 10) == ["never"]
    with ward.store.write(ward.surgeon, ward.at(20)) as unit:
        end_plan(unit, plan_id=plan.id, completed=True, reason="healed")
    assert _counted(ward, 21) == ["never"]


def test_the_quarter_counts_from_its_first_day_on(ward, one_look):
    assert _counted(ward, 12, start=ward.day(9)) == ["never"]
    assert _counted(ward, 12, start=ward.day(9) + timedelta(days=1)) == []
