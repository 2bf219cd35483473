"""Each list finds whom it is for and nobody beside: one clinic full of people, who is where by name."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from crowd import EVERYBODY, TODAY, Crowd, people

from followup.clinical.protocol.load import load_protocol
from followup.recall.reach.worklist import line_of, worklist
from followup.records.desk.attempts import attempt_of_form, attempts_of, attempts_on, standing_word, standings
from followup.records.desk.leaving import left_trips, mark_left, unseen_ids
from followup.records.desk.trip_steps import book_trip, mark_arrived
from followup.records.figures.expected import people_in_force, visits_to_sign
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.people.patients import every_patient, newest_record, newest_records, patients_by_id
from followup.records.plans.completing import plans_to_complete
from followup.records.plans.listed import (
    drafts_waiting,
    newest_plans,
    plan_gists,
    plans_by_hand,
    plans_handed_over,
    plans_handing_out,
    plans_not_handed_over,
)
from followup.records.plans.plans import (
    active_plan,
    completed_plan,
    open_draft,
    plan,
    plan_ids_to_look_at,
    plans_by_id,
    plans_in_force,
    plans_of,
    sign_plan,
    store_draft,
)
from followup.records.plans.sheets import find_sheet, sheets_of
from followup.records.tables import TripRow
from followup.records.trips.closed import visits_ahead, visits_to_move, visits_without_offer
from followup.records.trips.open_visits import open_visit_ids, open_visits, still_open
from followup.records.trips.trips import (
    cancel_open_trips,
    day_trips,
    days_seen,
    end_arrivals,
    missed_trips,
    open_trips,
    patient_of_trip,
    trip,
    trip_ids_past_window,
    trips_of,
    trips_of_all,
    trips_of_plan,
    trips_past_window,
)
from followup.timing.calendar import parse_calendar

STILL_OPEN = "open, booked, missed, back, died, lost, refused, moved, printed, no-sheet, new-draft, elsewhere"
FOLLOWED = "open, booked, missed, back, printed, no-sheet, new-draft, elsewhere"
LATER = "today, tomorrow, walk-in, signed-again, gone-unseen, gone-here"
HERE_ON_7 = "here, left, seen, seen-then-died, left-then-died, done"
IN_FORCE = (
    "open, booked, missed, back, died, lost, refused, moved, printed, no-sheet, new-draft, elsewhere, "
    "here, left, seen, seen-on-8, seen-then-died, left-then-died, "
    "today, tomorrow, walk-in, signed-again, gone-unseen, gone-here"
)

# A list, by its day where it has one, and who is on it.
VISITS = [
    (day_trips, 6, ""),
    (day_trips, 7, f"{FOLLOWED}, {HERE_ON_7}, seen-on-8"),
    (day_trips, 8, "seen-on-8"),
    (day_trips, 9, ""),
    (day_trips, TODAY, "today, walk-in"),
    (day_trips, 11, "tomorrow"),
    (day_trips, 12, "signed-again, gone-unseen, gone-here"),
    (missed_trips, 7, ""),
    (missed_trips, 8, FOLLOWED),
    (missed_trips, TODAY, FOLLOWED),
    (missed_trips, 11, f"{FOLLOWED}, today"),
    (trips_past_window, 9, ""),
    (trips_past_window, 10, STILL_OPEN),
    (trips_past_window, 12, STILL_OPEN),
    (trips_past_window, 13, f"{STILL_OPEN}, today, signed-again, gone-unseen, gone-here"),
    (lambda session, _: open_trips(session), TODAY, f"{STILL_OPEN}, {LATER}"),
    (left_trips, 7, "left"),
    (left_trips, 8, "here, left"),
    (left_trips, TODAY, "here, left"),
    (left_trips, 11, "here, left, walk-in"),
]


def _still_open(session, day):
    """A few at a time, and once more by their ids."""
    found = [one.id for some in open_visits(session, day, at_once=2) for one in some]
    assert [one.id for one in still_open(session, found)] == sorted(found)
    return found


VISIT_IDS = [
    (trip_ids_past_window, 9, ""),
    (trip_ids_past_window, 10, STILL_OPEN),
    (trip_ids_past_window, 13, f"{STILL_OPEN}, today, signed-again, gone-unseen, gone-here"),
    (open_visit_ids, 6, ""),
    (open_visit_ids, 7, STILL_OPEN),
    (open_visit_ids, 9, STILL_OPEN),
    (open_visit_ids, 10, f"{STILL_OPEN}, today"),
    (open_visit_ids, 11, f"{STILL_OPEN}, today, tomorrow"),
    (_still_open, 9, STILL_OPEN),
    (_still_open, 11, f"{STILL_OPEN}, today, tomorrow"),
    (unseen_ids, 7, ""),
    (unseen_ids, 8, "here, left, left-then-died"),
    (unseen_ids, TODAY, "here, left, left-then-died"),
    (unseen_ids, 11, "here, left, left-then-died, came without a visit"),
    (visits_ahead, 7, f"{STILL_OPEN}, {LATER}".replace("missed, ", "")),
    (visits_ahead, 8, LATER),
    (visits_ahead, 10, LATER),
    (visits_ahead, 11, "tomorrow, walk-in, signed-again, gone-unseen, gone-here"),
    (visits_ahead, 12, "walk-in, signed-again, gone-unseen, gone-here"),
]
PLANS = [
    (drafts_waiting, "draft, two-drafts, new-draft"),
    (plans_by_hand, "by-hand"),
    (plans_not_handed_over, "printed, no-sheet"),
    (plans_handed_over, IN_FORCE.replace("printed, no-sheet, ", "")),
]


@pytest.fixture(scope="module")
def crowd(shared_ward) -> Crowd:
    """Every version of every plan, signed or not, has a bottle to hand out on day 7."""
    found, day = Crowd(shared_ward), shared_ward.day(7).isoformat()
    with shared_ward.store.engine.begin() as connection:
        connection.exec_driver_sql(f"INSERT INTO hand_out_day SELECT id, '{day}' FROM care_plan")
    return found


def test_the_lists_of_visits_find_whom_they_are_for_and_nobody_beside(crowd):
    with crowd.ward.store.read() as session:
        for number, (found, day, expected) in enumerate(VISITS):
            names = crowd.names(found(session, crowd.ward.day(day)))
            assert names == people(expected), f"row {number}, on day {day}"
        for number, (found, day, expected) in enumerate(VISIT_IDS):
            names = crowd.of_trips(found(session, crowd.ward.day(day)))
            assert names == people(expected), f"row {number} of the ids, on day {day}"


def test_the_lists_of_plans_find_whom_they_are_for_and_nobody_beside(crowd):
    with crowd.ward.store.read() as session:
        for found, expected in PLANS:
            patients = [plan.patient_id for plan in found(session)]
            assert crowd.owners(patients) == people(expected), found.__name__
        to_look_at = plan_ids_to_look_at(session)
        expected = people("draft, two-drafts, new-draft, by-hand, printed, no-sheet")
        assert crowd.owners([patient for _, patient in to_look_at]) == expected
        assert crowd.owners(plans_in_force(session)) == people(IN_FORCE)
        assert crowd.owners(every_patient(session)) == sorted(crowd.patients)
        before, day, after = map(crowd.ward.day, (6, 7, 8))
        in_force = plans_handing_out(session, day, day)
        assert in_force == plans_handing_out(session, before, after)
        assert not plans_handing_out(session, after, after) | plans_handing_out(session, before, before)
        assert crowd.of_plans(in_force) == crowd.owners(in_force.values()) == people(IN_FORCE)
        for found in (drafts_waiting, plans_by_hand, plans_not_handed_over):
            listed = found(session)
            for who in crowd.patients.values():
                assert found(session, who) == tuple(p for p in listed if p.patient_id == who), found.__name__
        for who in crowd.patients.values():
            mine = {plan: owner for plan, owner in in_force.items() if owner == who}
            assert plans_handing_out(session, day, day, who) == mine
            assert plans_in_force(session, [who]) == frozenset(mine.values())
            assert plan_ids_to_look_at(session, who) == tuple(one for one in to_look_at if one[1] == who)


def test_the_line_of_one_patient_is_that_of_the_whole_list(crowd):
    rules = load_protocol().recall
    with crowd.ward.store.read() as session:
        for day in (0, 8, 10, 13, 60):
            now = crowd.ward.at(day)
            lines = {line.patient.id: line for line in worklist(session, now, rules)}
            for name, who in crowd.patients.items():
                assert line_of(session, now, rules, who) == lines.get(who), f"{name} on day {day}"


def test_of_each_patient_the_plan_in_force_is_read_and_a_draft_only_where_none_is(crowd):
    with crowd.ward.store.read() as session:
        newest = newest_plans(session, crowd.patients.values())
        assert crowd.owners(newest) == people(f"{IN_FORCE}, draft, two-drafts, by-hand")
        # The draft of "new-draft" is for day 8, its plan in force for day 0.
        assert newest[crowd.patients["new-draft"]].as_of == crowd.ward.day0
        few = [crowd.patients[name] for name in ("open", "ended", "done", "draft")]
        assert crowd.owners(newest_plans(session, few)) == ["draft", "open"]
        ids = [crowd.plans["open"], crowd.plans["draft"]]
        assert sorted(plan_gists(session, ids)) == sorted(ids)
        for name, active, completed, draft in (
            ("open", True, False, False),
            ("ended", False, False, False),
            ("done", False, True, False),
            ("draft", False, False, True),
            ("two-drafts", False, False, True),
            ("by-hand", False, False, False),
            ("new-draft", True, False, True),
            ("signed-again", True, False, False),
        ):
            who = crowd.patients[name]
            found = (active_plan(session, who), completed_plan(session, who), open_draft(session, who))
            assert [one is not None for one in found] == [active, completed, draft], name
            assert [one.patient_code for one in found if one] == [name] * (active + completed + draft)


STATES = {
    "two-drafts": ["draft", "revoked"],
    "signed-again": ["active", "revoked"],
    "gone-unseen": ["active", "revoked"],
    "gone-here": ["active", "revoked"],
    "new-draft": ["draft", "active"],
    "ended": ["revoked"],
    "done": ["completed"],
    "draft": ["draft"],
    "by-hand": ["on-hold"],
}


def test_a_draft_or_a_signature_of_one_patient_changes_no_plan_and_no_sheet_of_another(crowd):
    with crowd.ward.store.read() as session:
        for name, who in crowd.patients.items():
            versions = plans_of(session, who)
            states = [one.status for one in versions]
            assert states == STATES.get(name, ["active"]), name
            assert [one.number for one in versions] == list(range(len(states), 0, -1)), name
            sheets = sheets_of(session, who)
            assert [sheet.issue for sheet in sheets] == list(range(1, len(sheets) + 1)), name
            replaced = [sheet.replaced_at is not None for sheet in sheets]
            expected = {key: [True, False] for key in ("signed-again", "gone-unseen", "gone-here")}
            none = ("draft", "by-hand", "two-drafts", "no-sheet")
            assert replaced == expected.get(name, [] if name in none else [False]), name
        first = find_sheet(session, f"{crowd.plans['signed-again, first']:010d}")
        assert (first.current, first.give_instead.plan_id) == (False, crowd.plans["signed-again"])
        assert first.sheet.replaced_by_plan == crowd.plans["signed-again"]
        other = find_sheet(session, f"{crowd.plans['open']:010d}")
        assert (other.sheet.patient_code, other.current, other.completed_at) == ("open", True, None)
        over = find_sheet(session, f"{crowd.plans['done']:010d}")
        assert (over.current, over.in_force, over.completed_at) == (False, None, crowd.ward.at(7))


def test_a_sheet_stays_replaced_by_the_plan_that_replaced_it_first(crowd):
    def signed_once_more(unit):
        who = crowd.patients["signed-again"]
        body = crowd.ward.body("signed-again", trips=())
        third = sign_plan(unit, plan_id=store_draft(unit, patient_id=who, record_number=1, body=body).id)
        return third.id, [sheet.replaced_by_plan for sheet in sheets_of(unit.session, who)]

    third, replaced = crowd.ward.would(crowd.ward.at(TODAY), signed_once_more, by=EVERYBODY)
    assert replaced == [crowd.plans["signed-again"], third]


def test_a_new_draft_and_a_new_plan_end_only_what_they_replace(crowd):
    def again(unit):
        """A draft of each kind made again, the last one signed; how the patient's plans stand then."""
        states = {}
        for name in ("by-hand", "new-draft"):
            who = crowd.patients[name]
            body = crowd.ward.body(name, trips=())
            draft = store_draft(unit, patient_id=who, record_number=1, body=body)
            states[name] = [one.status for one in plans_of(unit.session, who)]
        sign_plan(unit, plan_id=draft.id)
        signed = [one.status for one in plans_of(unit.session, who)]
        others = [p.status for p in plans_of(unit.session, crowd.patients["two-drafts"])]
        return states, signed, others, [t.status for t in trips_of(unit.session, crowd.patients["open"])]

    states, signed, others, visits = crowd.ward.would(crowd.ward.at(TODAY), again, by=EVERYBODY)
    assert states == {"by-hand": ["draft", "revoked"], "new-draft": ["draft", "revoked", "active"]}
    assert signed == ["active", "revoked", "revoked"]
    assert (others, visits) == (["draft", "revoked"], ["proposed"])


def test_when_patients_were_here_is_told_but_for_those_who_left_without_a_look(crowd):
    with crowd.ward.store.read() as session:
        found = days_seen(session, crowd.patients.values())
        days = {
            crowd.owners([who])[0]: [(day - crowd.ward.day0).days for _, day in seen]
            for who, seen in found.items()
        }
        assert days == {
            "here": [7], "seen": [7], "seen-then-died": [7], "done": [7], "seen-on-8": [8], "walk-in": [10]
        }  # fmt: skip
        few = days_seen(session, [crowd.patients["seen"]])
        assert few == {crowd.patients["seen"]: ((crowd.trips["seen"], crowd.ward.day(7)),)}


def test_whoever_left_after_a_look_was_here(crowd):
    def looked_at(unit):
        from followup.records.desk.trip_steps import mark_fulfilled

        mark_left(unit, trip_id=crowd.trips["here"])
        before = days_seen(unit.session, [crowd.patients["here"]])
        mark_fulfilled(unit, trip_id=crowd.trips["left"])
        return before, days_seen(unit.session, [crowd.patients["left"]])

    left, seen = crowd.ward.would(crowd.ward.at(TODAY), looked_at, by=EVERYBODY)
    assert left == {}
    assert [day for _, day in seen[crowd.patients["left"]]] == [crowd.ward.day(7)]


def test_one_visit_one_patient_one_plan_are_read_alone(crowd):
    with crowd.ward.store.read() as session:
        for name in ("open", "seen", "signed-again"):
            who, number = crowd.patients[name], crowd.trips[name]
            assert trip(session, number).patient_code == name
            assert patient_of_trip(session, number) == who
            assert plan(session, crowd.plans[name]).patient_code == name
            assert crowd.of_trips(one.id for one in trips_of_plan(session, crowd.plans[name])) == [name]
            both = [name, f"{name}, first"] if name == "signed-again" else [name]
            assert crowd.of_trips(one.id for one in trips_of(session, who)) == both
            assert list(trips_of_all(session, [who])) == [who]
            assert list(patients_by_id(session, [who])) == [who]
            assert {one.patient_code for one in plans_by_id(session, [crowd.plans[name]]).values()} == {name}
            assert newest_records(session, [who]) == {who: newest_record(session, who)}


def test_ending_the_visits_of_one_patient_ends_no_other_and_nothing_that_took_place(crowd):
    def cancelled(unit):
        cancel_open_trips(unit, patient_id=crowd.patients["booked"], reason="moved")
        cancel_open_trips(unit, patient_id=crowd.patients["seen"], reason="moved")
        return crowd.of_trips(one.id for one in open_trips(unit.session)), trip(
            unit.session, crowd.trips["seen"]
        ).status

    still, seen = crowd.ward.would(crowd.ward.at(TODAY), cancelled, by=EVERYBODY)
    assert still == people(f"{STILL_OPEN}, {LATER}".replace("booked, ", ""))
    assert seen == "fulfilled"


def test_an_arrival_ends_only_for_its_own_patient_and_only_what_is_under_way(crowd):
    def ended(unit):
        end_arrivals(
            unit, patient_id=crowd.patients["here"], plan_id=None, today=crowd.ward.day(TODAY), reason="r"
        )
        end_arrivals(
            unit, patient_id=crowd.patients["open"], plan_id=None, today=crowd.ward.day(TODAY), reason="r"
        )
        names = ("here", "left", "open", "seen", "came without a visit")
        return [trip(unit.session, crowd.trips[name]).status for name in names]

    found = crowd.ward.would(crowd.ward.at(TODAY), ended, by=EVERYBODY)
    assert found == ["cancelled", "arrived", "proposed", "fulfilled", "arrived"]


def test_whoever_is_here_is_here_for_the_open_visit_of_the_new_plan_on_this_day_and_no_other(crowd):
    """One visit of the new plan is today, the others are not; another patient's visit is today too."""

    def signed(unit):
        who, ward = crowd.patients["walk-in"], crowd.ward
        looks = [ward.need(f"look-{day}", day, day + 2) for day in (9, 10, 11)]
        trips = tuple(ward.visit(i, 8 + i, look) for i, look in enumerate(looks, 1))
        body = ward.body("walk-in", needs=tuple(looks), trips=trips)
        first = sign_plan(unit, plan_id=store_draft(unit, patient_id=who, record_number=1, body=body).id)
        visits = trips_of_plan(unit.session, first.id)
        mark_arrived(unit, trip_id=visits[1].id, nonce="here today")
        mark_left(unit, trip_id=crowd.trips["came without a visit"])
        second = sign_plan(unit, plan_id=store_draft(unit, patient_id=who, record_number=1, body=body).id)
        return (
            [one.status for one in trips_of_plan(unit.session, first.id)],
            [one.status for one in trips_of_plan(unit.session, second.id)],
            trip(unit.session, crowd.trips["today"]).status,
        )

    old, new, other = crowd.ward.would(crowd.ward.at(TODAY), signed, by=EVERYBODY)
    assert old == ["cancelled", "cancelled", "cancelled"]
    assert new == ["proposed", "arrived", "proposed"]
    assert other == "proposed"


def test_who_is_expected_counts_every_coming_and_nobody_who_will_not_come(crowd):
    ward = crowd.ward

    def expected(session, first: int, last: int) -> list[int]:
        found = people_in_force(session, ward.day(first), ward.day(last))
        return sorted((one.day - ward.day0).days for one in found)

    with ward.store.read() as session:
        # On day 7 FOLLOWED without "missed", and here, left, seen, done, seen-on-8.
        assert expected(session, 7, 7) == [7] * 12
        assert expected(session, 8, 9) == []
        assert expected(session, 8, 10) == [10, 10]
        assert expected(session, 10, 11) == [10, 10, 11]
        assert expected(session, 11, 12) == [11, 12, 12, 12]
        # The drafts of those who have no plan in force: draft and two-drafts.
        assert [day for day, _ in visits_to_sign(session)] == [ward.day(7)] * 2


def test_attempts_and_standings_are_told_of_whom_they_were_made(crowd):
    ward = crowd.ward
    with ward.store.read() as session:
        tried = attempts_of(session, crowd.patients.values())
        said = {crowd.owners([who])[0]: [one.outcome for one in found] for who, found in tried.items()}
        assert said == {"open": ["no answer", "will come", "no answer"], "booked": ["no answer"]}
        assert list(attempts_of(session, [crowd.patients["booked"]])) == [crowd.patients["booked"]]
        for day, names in ((4, ["open"]), (5, []), (9, ["booked", "open"]), (10, ["open"])):
            found = attempts_on(session, ward.day(day))
            assert crowd.owners(one.patient_id for one in found) == names, f"day {day}"
        assert [one.outcome for one in attempts_on(session, ward.day(9))] == ["will come", "no answer"]
        assert attempt_of_form(session, "the third").at == ward.at(TODAY, 4)
        assert attempt_of_form(session, "never sent") is None
        stands = {crowd.owners([who])[0]: one.standing for who, one in standings(session).items()}
        assert stands == {
            "died": "died", "lost": "lost to follow-up", "refused": "refused", "moved": "moved away",
            "seen-then-died": "died", "left-then-died": "died",
        }  # fmt: skip
        assert standing_word(session, crowd.patients["back"]) == "followed"


def test_an_attempt_that_was_taken_back_was_never_made(crowd):
    from followup.records.tables import ContactAttemptRow

    def taken_back(unit):
        number = attempt_of_form(unit.session, "the third").id
        row = unit.session.get(ContactAttemptRow, number)
        row.taken_back_at = unit.now
        unit.session.add(row)
        unit.session.flush()
        tried = attempts_of(unit.session, [crowd.patients["open"]])[crowd.patients["open"]]
        return len(tried), len(attempts_on(unit.session, crowd.ward.day(TODAY)))

    assert crowd.ward.would(crowd.ward.at(TODAY), taken_back) == (2, 0)


# Day, who stands on "To reach today" and for which first reason (people of the main reasons alone).
TO_REACH = {
    "overdue": "open, booked, missed, back, printed, no-sheet, new-draft, elsewhere",
    "left unseen": "here, left",
    "plan incomplete": "draft, two-drafts",
    "plan by hand": "by-hand",
}


def test_the_list_to_reach_holds_each_of_them_once_and_nobody_who_is_not_followed(crowd):
    with crowd.ward.store.read() as session:
        found = worklist(session, crowd.ward.at(TODAY))
    by_kind = {kind: sorted(one.patient.code for one in found if one.kind == kind) for kind in TO_REACH}
    assert by_kind == {kind: people(names) for kind, names in TO_REACH.items()}
    assert len(found) == sum(len(names) for names in by_kind.values())


def test_visits_on_days_that_do_not_offer_what_they_are_for_are_to_move_by_the_calendar_of_their_site(crowd):
    ward = crowd.ward

    def moves(unit):
        closed = json.dumps({"holidays": [ward.day(n).isoformat() for n in (7, 11, 12)]})
        put_clinic(unit, replace(get_clinic(unit.session), calendar=closed))
        session, day = unit.session, ward.day
        calendar = parse_calendar(json.loads(closed))
        return [
            crowd.names(visits_to_move(session, day(7))),
            crowd.names(visits_to_move(session, day(8))),
            crowd.names(visits_to_move(session, day(12))),
            crowd.names(visits_to_move(session, day(8), crowd.trips["tomorrow"])),
            crowd.names(visits_to_move(session, day(8), crowd.trips["today"])),
            crowd.names(visits_without_offer(session, calendar, day(8))),
            crowd.names(visits_without_offer(session, calendar, day(12))),
        ]

    soon = people("tomorrow, signed-again, gone-unseen, gone-here")
    found = ward.would(ward.at(TODAY), moves, by=EVERYBODY)
    assert found[0] == people(
        f"{STILL_OPEN}, tomorrow, signed-again, gone-unseen, gone-here".replace("missed, ", "")
    )
    assert found[1:5] == [soon, people("signed-again, gone-unseen, gone-here"), ["tomorrow"], []]
    assert found[5:] == [soon, people("signed-again, gone-unseen, gone-here")]


def test_a_visit_whose_day_somebody_decided_is_not_to_be_moved(crowd):
    ward, day = crowd.ward, crowd.ward.day(8)

    def given(unit):
        told = {"holidays": [ward.day(11).isoformat()]}
        put_clinic(unit, replace(get_clinic(unit.session), calendar=json.dumps(told)))
        unit.session.get(TripRow, crowd.trips["tomorrow"]).given = True
        unit.session.flush()
        calendar = parse_calendar(told)
        return visits_to_move(unit.session, day), visits_without_offer(unit.session, calendar, day)

    assert ward.would(ward.at(TODAY), given, by=EVERYBODY) == ((), ())


def test_a_visit_may_be_booked_though_another_patients_visit_holds_the_day(crowd):
    booked = crowd.ward.would(crowd.ward.at(TODAY), book_trip, trip_id=crowd.trips["today"])
    assert (booked.status, booked.patient_code) == ("booked", "today")


def test_only_plans_with_nothing_open_waiting_or_in_danger_are_over(crowd):
    """These plans give no drops. Who has an open visit, is here, has a draft or an alert is not done."""
    with crowd.ward.store.read() as session:
        over = crowd.of_plans(plans_to_complete(session, crowd.ward.day(TODAY)))
    assert over == people("seen, seen-on-8, seen-then-died")
