"""No sheet is set while anything is being stored: everybody else who stores something would wait."""

from __future__ import annotations

import pytest

from followup.care.sheets import content
from followup.care.sheets.issuing import Printing, print_once
from followup.care.sheets.of_a_day import issue_day
from followup.errors import FollowupError
from followup.records.desk.trip_steps import move_trip
from followup.records.plans.desk_notes import sheet_visits
from followup.records.plans.sheets import sheets_of
from followup.records.store import engine


@pytest.fixture
def set_while(monkeypatch):
    """What happens while a sheet is set, instead of setting it; how often one was."""

    def replaced(act):
        times = []

        def render(_content, _setter):
            act(len(times))
            times.append(1)

        monkeypatch.setattr(content, "render_pdf", render)
        monkeypatch.setattr(engine, "BUSY_MILLISECONDS", 50)
        return times

    return replaced


def test_somebody_else_can_store_while_a_sheet_is_set(ward, by, set_while):
    plan, hand = ward.signed(), by(ward.counsellor)
    times = set_while(lambda number: ward.enter(ward.record(f"N-{number}")))
    sheet = print_once(hand, plan.id, Printing(printed=0))
    issue_day(hand, ward.day0)
    another = ward.signed("K-2")
    issue_day(hand, ward.day0)
    with ward.store.read() as session:
        assert [one.id for one in sheets_of(session, plan.patient_id)] == [sheet.id]
        assert len(sheets_of(session, another.patient_id)) == 1
    assert len(times) == 2


def test_a_day_s_sheets_let_shorter_work_go_before_each(ward, by, set_while):
    ward.signed(), ward.signed("K-2")
    happened = []
    set_while(lambda _: happened.append("set"))
    issue_day(by(ward.counsellor), ward.day0, lambda: happened.append("way"))
    assert happened == ["way", "set"] * 2


def test_a_sheet_whose_visit_is_moved_while_it_is_set_is_set_anew(ward, by, set_while):
    plan, hand = ward.signed(), by(ward.counsellor)
    week = ward.trips(plan)[1]

    def moved(number):
        if number == 0:
            with ward.store.write(ward.reception, ward.now) as unit:
                move_trip(unit, trip_id=week.id, day=ward.day(8))

    times = set_while(moved)
    sheet = print_once(hand, plan.id, Printing(printed=0))
    with ward.store.read() as session:
        assert sheet_visits(session, sheet.id)[week.number].day == ward.day(8)
        assert len(sheets_of(session, plan.patient_id)) == 1
    assert len(times) == 2


def test_a_sheet_that_changes_each_time_is_not_stored(ward, by, set_while):
    plan, hand = ward.signed(), by(ward.counsellor)
    week = ward.trips(plan)[1]

    def moved(number):
        with ward.store.write(ward.reception, ward.now) as unit:
            move_trip(unit, trip_id=week.id, day=ward.day((8, 6, 9)[number % 3]))

    set_while(moved)
    with pytest.raises(FollowupError) as refused:
        print_once(hand, plan.id, Printing(printed=0))
    assert refused.value.code == "store.conflict"
    with ward.store.read() as session:
        assert sheets_of(session, plan.patient_id) == ()


def test_of_two_who_print_at_once_the_second_gets_the_sheet_of_the_first(ward, by, set_while):
    plan, hand = ward.signed(), by(ward.counsellor)
    first = []

    def printed(_number):
        if not first:
            first.append("begun")
            first.append(print_once(hand, plan.id, Printing(printed=0)).id)

    set_while(printed)
    assert print_once(hand, plan.id, Printing(printed=0)).id == first[1]


def test_a_refused_sheet_is_not_set_at_all(ward, by, set_while):
    patient, hand = ward.enter(), by(ward.counsellor)
    draft = ward.draft(patient)
    times = set_while(lambda _: None)
    with pytest.raises(FollowupError) as refused:
        print_once(hand, draft.id, Printing(printed=0))
    assert (refused.value.code, times) == ("sheet.plan", [])
