"""In which order a list stands: told by the query, and not by how the rows happen to lie in the file.

Each is read twice, the second time from a database that turns around whatever it was not told to sort.
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from changed_records import records_since
from crowd import EVERYBODY
from sqlalchemy import text

from followup.errors import FollowupError
from followup.records.desk.alerts import open_alert, open_alerts
from followup.records.desk.attempts import attempts_of, attempts_on, note_attempt
from followup.records.desk.leaving import left_trips, unseen_ids
from followup.records.desk.taking_back import steps_of_day
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_fulfilled
from followup.records.figures.followed import visits_with_closed_window
from followup.records.house.clinics import get_clinic, put_clinic
from followup.records.house.staff import add_staff, all_staff
from followup.records.jobs.upkeep import (
    claim_daily_run,
    daily_runs,
    last_daily_run,
    note_transitions,
    transitions,
)
from followup.records.people.messages import due_messages, queue_message, unusable_choices
from followup.records.people.oplist import ListLine, operation_list, operations_on, put_operation_list
from followup.records.people.patients import (
    correct_record,
    enter_record,
    newest_record,
    record_versions,
    search_patients,
)
from followup.records.plans.bound import verify_all
from followup.records.plans.listed import newest_plans, plans_handed_over
from followup.records.plans.plans import (
    plan_ids_to_look_at,
    plans_of,
    sign_plan,
    store_draft,
)
from followup.records.plans.sheets import find_sheet, hand_over_sheet, issue_sheet, sheets_of
from followup.records.store import journal
from followup.records.store.copying import fingerprints
from followup.records.store.journal import journal_of, newest_entry_at, newest_seal, verify_journal
from followup.records.store.sites import Site, all_sites, put_site
from followup.records.tables import MessageChoiceRow
from followup.records.trips.closed import visits_to_move
from followup.records.trips.open_visits import open_visit_ids
from followup.records.trips.trips import days_seen, open_trips, trips_of, trips_of_plan

NAMES = {"C-3": "Asha Bora", "A-1": "Asha Chand", "B-2": "Asha Ali"}


class _House:
    """Three patients, entered as C-3, A-1, B-2, and ways to note something of them."""

    def __init__(self, ward) -> None:
        self.ward, self.ids = ward, {}
        with ward.store.write(EVERYBODY, ward.now) as unit:
            for code, name in NAMES.items():
                record = ward.record(code, name=name)
                self.ids[code] = enter_record(unit, record=record).patient_id

    def plan(self, unit, code: str, *visits: tuple[int, int, int], signed: bool = True, **more):
        """A plan with these visits: day, first and last day. Visits stand in the order in which they came."""
        looks = [self.ward.need(f"look-{last}", first, last) for _, first, last in visits]
        trips = [
            self.ward.visit(n, visit[0], look)
            for n, (visit, look) in enumerate(zip(visits, looks, strict=True), 1)
        ]
        body = self.ward.body(code, **{"needs": tuple(looks), "trips": tuple(trips), **more})
        draft = store_draft(unit, patient_id=self.ids[code], record_number=1, body=body)
        return sign_plan(unit, plan_id=draft.id) if signed else draft

    def visit(self, unit, code: str, *visit: int) -> int:
        return trips_of_plan(unit.session, self.plan(unit, code, visit).id)[0].id

    def codes(self, ids) -> list[str]:
        by_id = {number: code for code, number in self.ids.items()}
        return [by_id[number] for number in ids]


@pytest.fixture(scope="module")
def house(shared_ward) -> _House:
    return _House(shared_ward)


def _written(unit) -> None:
    journal.append(unit.session, unit.entries, actor=unit.actor.login, now=unit.now)
    unit.entries.clear()
    unit.session.flush()


# Each notes something at its own hours and gives what is read then, with what it must be.


def _attempts(house, unit):
    who, tried = house.ids["A-1"], {"rung": 0, "way": "call", "outcome": "no answer"}
    for day, hours, nonce in ((9, 9, "second"), (4, 9, "first"), (9, 8, "third")):
        unit.now = house.ward.at(day, hours)
        note_attempt(unit, patient_id=who, nonce=nonce, note=nonce, **tried)
    return lambda session: (
        [one.note for one in attempts_of(session, [who])[who]],
        [one.note for one in attempts_on(session, house.ward.day(9))],
    ), (["first", "third", "second"], ["third", "second"])


def _to_take_back(house, unit):
    unit.now = house.ward.at(4)
    book_trip(unit, trip_id=house.visit(unit, "A-1", 7, 5, 9))
    tried = {"rung": 0, "way": "call", "outcome": "no answer"}
    note_attempt(unit, patient_id=house.ids["A-1"], nonce="n", **tried)
    _written(unit)
    return lambda session: [one.action for one in steps_of_day(session, house.ward.at(4), ["A-1"])], [
        "tried to reach",
        "visit booked",
    ]


def _choices(house, unit):
    for code in ("C-3", "A-1", "B-2"):
        given = {"channel": "mail", "address": "nowhere", "changed_by": "x", "changed_at": unit.now}
        unit.session.add(MessageChoiceRow(patient_id=house.ids[code], consent=True, **given))
    return unusable_choices, ("A-1", "B-2", "C-3")


def _messages(house, unit):
    for key, hours in (("third", 8), ("first", 6), ("second", 7)):
        queue_message(
            unit,
            **{"patient_code": "A-1", "patient_id": house.ids["A-1"], "kind": "reminder", "key": key},
            **{"language": "en", "reader": "patient", "channel": "mail", "address": "x@example.org"},
            **{"day": house.ward.day0, "last_useful": house.ward.day0, "text": key, "segments": 1},
            next_try=house.ward.at(0, hours),
        )
    return lambda session: [one.text for one in due_messages(session, house.ward.at(0, 9))], [
        "first",
        "second",
        "third",
    ]


def _clinic(house, unit):
    for code in ("RIDGE", "HILL"):
        put_site(unit, Site(0, code, code.capitalize()))
    for login in ("zoe", "ana", "mia"):
        add_staff(unit, login=login, name=login, roles=["reception"], password_hash="-")
    return lambda session: (
        [one.code for one in all_sites(session)],
        [one.login for one in all_staff(session)],
    ), (["MAIN", "RIDGE", "HILL"], ["ana", "mia", "zoe"])


def _visits(house, unit):
    ward = house.ward
    calendar = json.dumps({"holidays": [ward.day(n).isoformat() for n in (5, 7, 20)]})
    plan = house.plan(unit, "C-3", (20, 15, 25), (7, 5, 9))
    late, early = (one.id for one in trips_of_plan(unit.session, plan.id)[::-1])
    others = [house.visit(unit, "A-1", 7, 5, 9), house.visit(unit, "B-2", 5, 5, 9)]
    put_clinic(unit, replace(get_clinic(unit.session), calendar=calendar))
    assert late < early < others[0] < others[1]
    return lambda session: (
        [one.patient_code for one in open_trips(session)],
        [one.patient_code for one in visits_to_move(session, ward.day(1))],
        [(one.day - ward.day0).days for one in trips_of(session, house.ids["C-3"])],
        list(open_visit_ids(session, ward.day(40))),
    ), (["B-2", "A-1", "C-3", "C-3"], ["B-2", "C-3", "A-1", "C-3"], [7, 20], [late, early, *others])


def _here(house, unit):
    ward = house.ward
    visits = {code: house.visit(unit, code, 7, 5, 9) for code in ("C-3", "A-1")}
    for code, day in (("C-3", 7), ("A-1", 6)):
        unit.now = ward.at(day)
        mark_arrived(unit, trip_id=visits[code], nonce=code)
    days = house.plan(unit, "B-2", (20, 15, 25), (9, 8, 12))
    for visit, day in zip(trips_of_plan(unit.session, days.id)[::-1], (16, 10), strict=True):
        unit.now = ward.at(day)
        mark_fulfilled(unit, trip_id=visit.id)
    return lambda session: (
        [one.patient_code for one in left_trips(session, ward.day(12))],
        list(unseen_ids(session, ward.day(12))),
        [(day - ward.day0).days for _, day in days_seen(session, [house.ids["B-2"]])[house.ids["B-2"]]],
    ), (["A-1", "C-3"], [visits["A-1"], visits["C-3"]], [10, 16])


def _followed(house, unit):
    """The visit of the first plan is missed, and caught up under the second: never the other way round."""
    ward = house.ward
    unit.now = ward.at(1)
    first = house.visit(unit, "A-1", 7, 5, 9)
    unit.now = ward.at(10)
    look = ward.need("look-9", 10, 12)
    again = house.plan(unit, "A-1", needs=(look,), trips=(ward.visit(1, 11, look),), as_of=ward.day(10))
    (second,) = trips_of_plan(unit.session, again.id)
    unit.now = ward.at(11)
    mark_arrived(unit, trip_id=second.id, nonce="n")
    mark_fulfilled(unit, trip_id=second.id)
    assert first < second.id
    return lambda session: [
        one.result for one in visits_with_closed_window(session, ward.day(0), ward.day(20))
    ], ["late"]


def _told_later(house, unit):
    """Two later plans know the day of a look that was not marked: the first of them counts."""
    ward = house.ward
    house.visit(unit, "A-1", 7, 5, 9)
    for signed, seen in ((10, 8), (20, 12)):
        unit.now = ward.at(signed)
        done = ward.need("look-9", 5, 9, state="served", served_on=ward.day(seen))
        house.plan(unit, "A-1", needs=(done,), trips=(), as_of=ward.day(signed))
    return lambda session: [
        one.result for one in visits_with_closed_window(session, ward.day(0), ward.day(30))
    ], ["in time"]


def _records(house, unit):
    ward, who = house.ward, house.ids["A-1"]
    for number in (1, 2):
        unit.now = ward.at(number)
        record = ward.record("A-1", name=NAMES["A-1"], can_read=number == 2)
        correct_record(unit, patient_id=who, record=record, seen=number)
    return lambda session: (
        [one.code for one in search_patients(session, "asha")],
        [one.code for one in search_patients(session, "asha", limit=1)],
        [one.number for one in record_versions(session, who)],
        newest_record(session, who).number,
        house.codes(records_since(session, ward.at(-1))),
    ), (["B-2", "C-3", "A-1"], ["B-2"], [3, 2, 1], 3, ["C-3", "A-1", "B-2"])


def _upkeep(house, unit):
    ward = house.ward
    for day in (5, 7, 6):
        claim_daily_run(unit, job="messages", day=ward.day(day))
    visit = house.visit(unit, "A-1", 7, 5, 9)
    for kind, day in (("overdue", 12), ("late", 10), ("overdue", 11)):
        note_transitions(unit, [(visit, kind, ward.at(day))])
    return lambda session: (
        last_daily_run(session, "messages"),
        [(one.day - ward.day0).days for one in daily_runs(session, since=ward.day(0))],
        [(one.became_at - ward.at(0)).days for one in transitions(session)],
    ), (ward.day(7), [5, 6, 7], [10, 11, 12])


def _plans(house, unit):
    ward, who = house.ward, house.ids["A-1"]
    unit.now = ward.at(2)
    first = house.plan(unit, "A-1", (7, 5, 9))
    draft = house.plan(unit, "A-1", (8, 5, 9), signed=False)
    unit.now = ward.at(1)
    other = house.plan(unit, "C-3", (7, 5, 9))
    sheets = {plan.id: f"{plan.id:010d}" for plan in (first, other)}
    for plan, sheet in sheets.items():
        issue_sheet(unit, plan_id=plan, sheet_id=sheet, language="en")
        hand_over_sheet(unit, sheet_id=sheet, to="self")
    last = house.plan(unit, "B-2", (7, 5, 9), signed=False)
    for again in ("ABCDEFGHJK", "ABCDEFGHJM"):
        issue_sheet(unit, plan_id=first.id, sheet_id=again, language="en", reason="lost")
    return lambda session: (
        [one.id for one in plans_handed_over(session)],
        [plan for plan, _ in plan_ids_to_look_at(session)],
        newest_plans(session, [who])[who].id,
        [one.number for one in plans_of(session, who)],
        [sheet.issue for sheet in sheets_of(session, who)],
    ), ([first.id, other.id], [last.id, draft.id], first.id, [2, 1], [1, 2, 3])


def _printed_again(house, unit):
    """Whoever brings an old sheet is given the newest of the plan in force."""
    old = house.plan(unit, "A-1", (7, 5, 9))
    issue_sheet(unit, plan_id=old.id, sheet_id="0123456789", language="en")
    new = house.plan(unit, "A-1", (8, 5, 9))
    issue_sheet(unit, plan_id=new.id, sheet_id="ZBCDEFGHJK", language="en")
    issue_sheet(unit, plan_id=new.id, sheet_id="ABCDEFGHJM", language="en", reason="lost")
    return lambda session: find_sheet(session, "0123456789").give_instead.id, "ABCDEFGHJM"


def _operations(house, unit):
    ward = house.ward
    both = ward.record("A-1", name=NAMES["A-1"])
    left = both.operations[0].model_copy(update={"eye": "left", "eye_drawn": "left"})
    record = both.model_copy(update={"operations": (*both.operations, left)})
    correct_record(unit, patient_id=house.ids["A-1"], record=record, seen=1)
    listed = [("K-9", "right"), ("B-2", "right"), ("K-5", "left")]
    put_operation_list(unit, day=ward.day0, lines=[ListLine(code, "N", eye) for code, eye in listed])
    house.plan(unit, "B-2", (7, 5, 9))
    house.plan(unit, "B-2", (7, 5, 9), signed=False)
    return lambda session: (
        [one.patient_code for one in operation_list(session, ward.day0)],
        [(one.patient_code, one.eye, one.plan_status) for one in operations_on(session, ward.day0)],
    ), (
        ["K-9", "B-2", "K-5"],
        [
            ("K-9", "right", None), ("B-2", "right", "draft"), ("K-5", "left", None),
            ("A-1", "left", None), ("A-1", "right", None), ("C-3", "right", None),
        ],
    )  # fmt: skip


def _alerts(house, unit):
    ward = house.ward
    for code, hours, kind in (
        ("C-3", 11, "senior review"), ("A-1", 9, "senior review"),
        ("B-2", 12, "walk-in"), ("A-1", 10, "walk-in"),
    ):  # fmt: skip
        unit.now = ward.at(1, hours)
        open_alert(unit, patient_id=house.ids[code], kind=kind, day=ward.day(1), signs=["pain"])
    return lambda session: [(one.kind, *house.codes([one.patient_id])) for one in open_alerts(session)], [
        ("walk-in", "A-1"),
        ("walk-in", "B-2"),
        ("senior review", "A-1"),
        ("senior review", "C-3"),
    ]


def _journal(house, unit):
    ward = house.ward
    for number in (1, 2):
        unit.now = ward.at(number)
        record = ward.record("A-1", name=NAMES["A-1"], can_read=number == 2)
        correct_record(unit, patient_id=house.ids["A-1"], record=record, seen=number)
        _written(unit)
    return lambda session: (
        [one.details["version"] for one in journal_of(session, "patient:A-1")],
        newest_entry_at(session),
        verify_journal(session) == newest_seal(session),
    ), ([1, 2, 3], ward.at(2), True)


def _unlike(house, unit):
    """Of two signed plans that are not there any more the first is named."""
    plans = [house.plan(unit, code, (7, 5, 9)).id for code in ("B-2", "A-1")]
    _written(unit)
    for plan in plans:
        unit.session.execute(
            text("UPDATE care_plan SET status = 'revoked', signed_at = NULL WHERE id = :id"), {"id": plan}
        )

    def named(session):
        with pytest.raises(FollowupError) as caught:
            verify_all(session)
        return caught.value.code, caught.value.where

    return named, ("journal.unlike", "B-2")


def _unreadable(house, unit):
    """Where two entries can't be read the first of them is named."""
    house.plan(unit, "A-1", (7, 5, 9))
    _written(unit)
    unit.session.execute(text("DROP TRIGGER journal_no_update"))
    unit.session.execute(text("UPDATE journal SET at = 'noon' WHERE number IN (3, 4)"))

    def named(session):
        with pytest.raises(FollowupError) as caught:
            verify_journal(session)
        return caught.value.code, "entry 3 was changed" in caught.value.line

    return named, ("journal.broken", True)


def _carried(house, unit):
    """What is carried to another database is the same whole, however the rows lie in the first."""
    for code in ("A-1", "C-3"):
        house.plan(unit, code, (7, 5, 9), (20, 15, 25))
        house.plan(unit, code, (8, 5, 9))
    unit.session.flush()
    return lambda session: fingerprints(session.connection()), fingerprints(unit.session.connection())


CASES = (
    *(_attempts, _to_take_back, _choices, _messages, _clinic, _visits, _here, _followed, _told_later),
    *(
        _records,
        _upkeep,
        _plans,
        _printed_again,
        _operations,
        _alerts,
        _journal,
        _unlike,
        _unreadable,
        _carried,
    ),
)


@pytest.mark.parametrize("turned", [False, True], ids=["as they lie", "turned around"])
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.__name__.strip("_").replace("_", " "))
def test_lists_stand_in_their_own_order_however_the_rows_lie(house, case, turned):
    def read(unit):
        reads, expected = case(house, unit)
        unit.session.flush()
        unit.session.expire_all()
        unit.session.execute(text(f"PRAGMA reverse_unordered_selects = {int(turned)}"))
        try:
            return reads(unit.session), expected
        finally:
            unit.session.execute(text("PRAGMA reverse_unordered_selects = 0"))

    found, expected = house.ward.would(house.ward.now, read, by=EVERYBODY)
    assert found == expected
