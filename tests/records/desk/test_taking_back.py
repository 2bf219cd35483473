"""What was noted by mistake is taken back on its day: as it was before, with both in the journal."""

from __future__ import annotations

from datetime import timedelta

import pytest

from followup.errors import FollowupError
from followup.records.desk.attempts import attempts_of, note_attempt, set_standing, standing_word
from followup.records.desk.taking_back import steps_of_day, take_back
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_fulfilled, mark_noshow, move_trip
from followup.records.desk.walkins import note_walk_in
from followup.records.plans.sheets import find_sheet, hand_over_sheet, issue_sheet
from followup.records.store.journal import journal_of, verify_journal
from followup.records.trips.places import places_taken
from followup.records.trips.trips import day_trips, trips_of


class Desk:
    """One patient, and whoever notes and takes back."""

    def __init__(self, ward, *, booked: bool = False):
        self.ward, self.plan = ward, ward.signed()
        self.first, self.week, self.late = ward.trips(self.plan)
        if booked:
            self.does(book_trip, ward.at(0), trip_id=self.week.id)

    def does(self, use_case, now, *, by=None, **given):
        usual = self.ward.counsellor if use_case is mark_fulfilled else self.ward.reception
        with self.ward.store.write(by or usual, now) as unit:
            return use_case(unit, **given)

    def steps(self, now, code="K-1", **given):
        with self.ward.store.read() as session:
            return steps_of_day(session, now, [code], **given)

    def back(self, now, *, entry=None, by=None):
        number = entry or self.steps(now)[0].number
        self.does(take_back, now, by=by, patient_id=self.plan.patient_id, entry=number)
        return number

    def rows(self):
        with self.ward.store.read() as session:
            trips = trips_of(session, self.plan.patient_id)
            taken = {k: n for k, n in places_taken(session, self.ward.day0, self.ward.day(400)).items() if n}
            stood = standing_word(session, self.plan.patient_id)
        return [(t.day, t.status, t.seen_on, t.served, t.overbooked) for t in trips], taken, stood


@pytest.mark.parametrize("booked", [False, True])
@pytest.mark.parametrize("missed", [False, True])
def test_an_arrival_is_taken_back_to_what_was_before(ward, booked, missed):
    desk, now = Desk(ward, booked=booked), ward.at(7)
    if missed:
        desk.does(mark_noshow, now, trip_id=desk.week.id)
    before = desk.rows()
    desk.does(mark_arrived, now, trip_id=desk.week.id, nonce="n")
    assert desk.rows() != before
    desk.back(now)
    assert desk.rows() == before


def test_the_same_form_sent_again_does_not_bring_a_taken_back_arrival_back(ward):
    desk, now = Desk(ward), ward.at(7)
    desk.does(mark_arrived, now, trip_id=desk.week.id, nonce="n")
    number = desk.back(now)
    desk.back(now, entry=number)
    assert desk.does(mark_arrived, now, trip_id=desk.week.id, nonce="n").status == "proposed"
    assert desk.does(mark_arrived, now, trip_id=desk.week.id, nonce="m").status == "arrived"


def test_steps_come_off_in_the_order_in_which_they_stand_on_each_other(ward):
    desk, now = Desk(ward), ward.at(7)
    states = [desk.rows()]
    desk.does(move_trip, now, trip_id=desk.week.id, day=ward.day(8))
    states.append(desk.rows())
    desk.does(book_trip, now, trip_id=desk.week.id)
    states.append(desk.rows())
    desk.does(mark_arrived, now, trip_id=desk.week.id, nonce="n")
    states.append(desk.rows())
    desk.does(mark_fulfilled, now, trip_id=desk.week.id)
    actions = []
    while states:
        (step,) = desk.steps(now)
        actions.append(step.action)
        desk.back(now)
        assert desk.rows() == states.pop()
    assert actions == ["visit done", "arrived", "visit booked", "visit moved"]
    assert desk.steps(now) == ()


def test_what_a_visit_left_over_goes_with_it(ward):
    needs = (ward.need("week", 5, 9), ward.need("wound", 5, 9))
    desk = Desk.__new__(Desk)
    desk.ward = ward
    desk.plan = ward.sign(
        ward.draft(ward.signed().patient_id, ward.body(needs=needs, trips=(ward.visit(1, 7, *needs),))).id
    )
    (week,) = ward.trips(desk.plan)
    now = ward.at(7)
    desk.does(mark_arrived, now, trip_id=week.id, nonce="n")
    desk.does(mark_fulfilled, now, trip_id=week.id, served=("right:week",))
    assert [t.status for t in ward.trips(desk.plan)] == ["fulfilled", "proposed"]
    desk.back(now)
    assert [t.status for t in ward.trips(desk.plan)] == ["arrived", "cancelled"]
    with ward.store.read() as session:
        assert [t.status for t in day_trips(session, ward.day(7))] == ["arrived"]


def test_a_moved_visit_gets_its_old_place_back_or_says_that_it_is_taken(ward):
    ward.in_zone("Asia/Kolkata", calendar='{"services": [{"name": "review", "capacity": 1}]}')
    desk, now = Desk(ward, booked=True), ward.at(5)
    before = desk.rows()
    desk.does(move_trip, now, trip_id=desk.week.id, day=ward.day(6))
    desk.back(now)
    assert desk.rows() == before
    assert before[1] == {("review", ward.day(7)): 1}
    desk.does(move_trip, now, trip_id=desk.week.id, day=ward.day(6))
    desk.does(book_trip, now, trip_id=ward.trips(ward.signed("K-2"))[1].id)
    moved = desk.rows()
    with pytest.raises(FollowupError) as caught:
        desk.back(now)
    assert caught.value.code == "place.full"
    assert desk.rows() == moved


def test_a_person_without_a_visit_who_was_someone_else_was_never_here(ward):
    desk, now = Desk(ward), ward.at(3)
    desk.does(note_walk_in, now, patient_id=desk.plan.patient_id, reason="red eye", nonce="n")
    desk.back(now)
    with ward.store.read() as session:
        assert day_trips(session, ward.day(3)) == ()


@pytest.mark.parametrize("outcome", ["died", "moved away", "no answer"])
def test_the_outcome_of_a_call_is_taken_back_with_what_it_said_of_the_patient(ward, outcome):
    desk, now = Desk(ward), ward.at(3)
    note = {"patient_id": desk.plan.patient_id, "rung": 0, "way": "call"}
    desk.does(note_attempt, now, outcome="no answer", nonce="n1", **note)
    desk.does(note_attempt, now + timedelta(minutes=1), outcome=outcome, nonce="n2", **note)
    (step,) = desk.steps(now)
    assert step.details["outcome"] == outcome
    desk.back(now)
    with ward.store.read() as session:
        assert [
            one.outcome for one in attempts_of(session, [desk.plan.patient_id])[desk.plan.patient_id]
        ] == ["no answer"]
        assert standing_word(session, desk.plan.patient_id) == "followed"


def test_what_was_said_of_a_patient_since_is_left_alone(ward):
    desk, now = Desk(ward), ward.at(3)
    note = {"patient_id": desk.plan.patient_id, "rung": 0, "way": "call"}
    desk.does(note_attempt, now, outcome="moved away", nonce="n1", **note)
    desk.does(set_standing, now, patient_id=desk.plan.patient_id, standing="died", reason="the family called")
    desk.back(now)
    assert desk.rows()[2] == "died"


def test_whoever_was_lost_is_lost_again_when_an_arrival_is_taken_back(ward):
    desk, now = Desk(ward), ward.at(7)
    desk.does(set_standing, now, patient_id=desk.plan.patient_id, standing="moved away", reason="letter")
    desk.does(mark_arrived, now, trip_id=desk.week.id, nonce="n")
    assert desk.rows()[2] == "followed"
    desk.back(now)
    assert desk.rows()[2] == "moved away"


def test_a_sheet_that_was_not_handed_over_after_all_waits_again(ward):
    desk = Desk(ward)
    desk.does(
        issue_sheet, ward.now, by=ward.counsellor, plan_id=desk.plan.id, sheet_id="0123456789", language="en"
    )
    desk.does(hand_over_sheet, ward.now, sheet_id="0123456789", to="daughter")
    desk.back(ward.now)
    with ward.store.read() as session:
        sheet = find_sheet(session, "0123456789").sheet
    assert (sheet.handed_over_at, sheet.handed_to, sheet.how) == (None, None, None)
    assert (
        desk.does(hand_over_sheet, ward.now, sheet_id="0123456789", to="the patient").handed_to
        == "the patient"
    )


def test_only_on_its_day_only_by_its_desk_and_only_of_this_patient(ward):
    desk, now = Desk(ward), ward.at(7)
    desk.does(mark_arrived, now, trip_id=desk.week.id, nonce="n")
    (step,) = desk.steps(now)
    other = ward.signed("K-2")
    mine = desk.plan.patient_id
    for code, at, by, patient in (
        ("role.missing", now, ward.counsellor, mine),
        ("back.gone", ward.at(7, 18.6), ward.reception, mine),
        ("back.gone", now, ward.reception, other.patient_id),
    ):
        with pytest.raises(FollowupError) as caught:
            desk.does(take_back, at, by=by, entry=step.number, patient_id=patient)
        assert caught.value.code == code
    assert desk.rows()[0][1][1] == "arrived"
    assert desk.steps(ward.at(7, 18.6)) == ()
    assert desk.steps(now, "K-2") == ()
    assert desk.steps(now, actions={"tried to reach"}) == ()


def test_the_journal_keeps_both_and_is_whole(ward):
    desk, now = Desk(ward), ward.at(7)
    desk.does(mark_noshow, now, trip_id=desk.week.id)
    number = desk.back(now)
    with ward.store.read() as session:
        *_, noted, back = journal_of(session, "patient:K-1")
        verify_journal(session)
    assert (noted.number, noted.action) == (number, "did not come")
    assert (back.action, back.details) == ("taken back", {"entry": number, "what": "did not come"})
