"""Each step that can be taken back: to what stood before in every column, by whom, of no other patient."""

from __future__ import annotations

import pytest
from crowd import EVERYBODY
from sqlalchemy import text

from followup.errors import FollowupError
from followup.records.desk.attempts import note_attempt, set_standing
from followup.records.desk.handing import GivenBottle, note_given
from followup.records.desk.leaving import mark_left
from followup.records.desk.promises import book_promised
from followup.records.desk.taking_back import steps_of_day, take_back
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_fulfilled, mark_noshow, move_trip
from followup.records.desk.walkins import note_walk_in
from followup.records.plans.plans import active_plan
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.store import journal
from followup.records.views import Actor

FRONT = "counsellor, reception, surgeon"
ROLES = ("counsellor", "reception", "surgeon", "pharmacy", "manager", "program")


@pytest.fixture(scope="module")
def two(shared_ward):
    """Two patients alike, with a visit on day 7 and a printed sheet each."""
    shared_ward.found = []
    for code, sheet in (("K-1", "0123456789"), ("K-2", "ABCDEFGHJK")):
        plan = shared_ward.signed(code)
        with shared_ward.store.write(shared_ward.counsellor, shared_ward.now) as unit:
            issue_sheet(unit, plan_id=plan.id, sheet_id=sheet, language="en")
        shared_ward.found.append(_Case(shared_ward, plan.patient_id, shared_ward.trips(plan)[1].id, sheet))
    return shared_ward


class _Case:
    """One patient, and what may be noted of the visit on day 7."""

    def __init__(self, ward, who: int, trip: int, sheet: str) -> None:
        self.ward, self.who, self.trip, self.sheet = ward, who, trip, sheet

    def does(self, unit, what: str) -> None:
        ward, one = self.ward, {"trip_id": self.trip}
        word, _, given = what.partition(" ")
        match word:
            case "book":
                book_trip(unit, **one, hour=given or None)
            case "move":
                day, _, hour = given.partition(" ")
                move_trip(unit, **one, day=ward.day(int(day)), hour=hour or None)
            case "promise":
                book_promised(unit, **one, day=ward.day(int(given)))
            case "overbook":
                self._writes(unit, "overbooked = '[\"review\"]'")
            case "looked":
                # As findings leave a visit whose patient is still here.
                self._writes(unit, "served = '[\"right:week\"]'")
            case "arrive":
                mark_arrived(unit, **one, nonce=f"arrives {self.who}")
            case "leave":
                mark_left(unit, **one)
            case "done":
                mark_fulfilled(unit, **one)
            case "missed":
                mark_noshow(unit, **one)
            case "walk-in":
                note_walk_in(unit, patient_id=self.who, reason="red", nonce=f"in {self.who}", signs=["pain"])
            case "call":
                told = {"rung": 0, "way": "call", "nonce": f"calls {self.who}"}
                note_attempt(unit, patient_id=self.who, outcome=given, **told)
            case "stands":
                set_standing(unit, patient_id=self.who, standing=given, reason="a letter")
            case "hand-over":
                hand_over_sheet(unit, sheet_id=self.sheet, to="her son", how="telephone")
            case "give":
                plan = active_plan(unit.session, self.who)
                bottles = [GivenBottle("right:steroid", "dexamethasone-0-1", "right", 1)]
                note_given(unit, patient_id=self.who, plan_id=plan.id, bottles=bottles)
            case _:
                raise AssertionError(what)

    def _writes(self, unit, what: str) -> None:
        unit.session.execute(text(f"UPDATE trip SET {what} WHERE id = :id"), {"id": self.trip})
        unit.session.expire_all()

    def stands(self, unit) -> dict[str, object]:
        """Every column of the patient's rows that a step changes; a form's own number stays used."""

        def rows(query: str) -> list[dict[str, object]]:
            found = unit.session.execute(text(query), {"who": self.who}).mappings()
            return [{k: v for k, v in row.items() if k != "arrival_nonce"} for row in found]

        return {
            "visits": rows("SELECT * FROM trip WHERE patient_id = :who AND ended_reason IS NULL ORDER BY id"),
            "places": rows("SELECT day, service, taken FROM place WHERE taken > 0 AND :who > 0 ORDER BY day"),
            "said": rows("SELECT standing FROM standing WHERE patient_id = :who AND standing <> 'followed'"),
            "calls": rows("SELECT * FROM contact_attempt WHERE patient_id = :who AND taken_back_at IS NULL"),
            "alerts": rows("SELECT * FROM alert WHERE patient_id = :who AND closed_at IS NULL"),
            "bottles": rows("SELECT * FROM handing WHERE patient_id = :who AND taken_back_at IS NULL"),
            "sheets": rows("SELECT * FROM sheet WHERE patient_id = :who ORDER BY issue"),
        }

    def step(self, unit):
        """The newest step that can be taken back."""
        journal.append(unit.session, unit.entries, actor=unit.actor.login, now=unit.now)
        unit.entries.clear()
        unit.session.flush()
        return steps_of_day(unit.session, unit.now, ["K-1" if self is self.ward.found[0] else "K-2"])[0]


# What was noted before (of both patients), what is noted and taken back, its word in the journal, by whom.
STEPS = [
    ("", "arrive", "arrived", "reception"),
    ("book 09:30", "arrive", "arrived", "reception"),
    ("missed", "arrive", "arrived", "reception"),
    ("stands moved away", "arrive", "arrived", "reception"),
    ("stands lost to follow-up", "arrive", "arrived", "reception"),
    ("", "walk-in", "came without a visit", FRONT),
    ("stands refused", "walk-in", "came without a visit", FRONT),
    ("arrive", "leave", "left without findings", FRONT),
    ("", "done", "visit done", FRONT),
    ("book 09:30", "done", "visit done", FRONT),
    ("missed", "done", "visit done", FRONT),
    ("arrive", "done", "visit done", FRONT),
    ("arrive, looked", "done", "visit done", FRONT),
    ("arrive, looked", "leave", "visit done", FRONT),
    ("", "missed", "did not come", "reception"),
    ("book 09:30", "missed", "did not come", "reception"),
    ("", "book", "visit booked", FRONT),
    ("", "book 10:15", "visit booked", FRONT),
    ("move 8 09:30", "book 10:15", "visit booked", FRONT),
    ("", "move 8", "visit moved", FRONT),
    ("book 09:30", "move 8 10:15", "visit moved", FRONT),
    ("overbook, book 09:30", "move 8", "visit moved", FRONT),
    ("", "promise 8", "day promised", FRONT),
    ("book", "promise 8", "day promised", FRONT),
    ("missed", "promise 8", "day promised", FRONT),
    ("book, missed", "promise 12", "day promised", FRONT),
    ("overbook, book 09:30", "promise 8", "day promised", FRONT),
    ("", "call no answer", "tried to reach", FRONT),
    ("", "call moved away", "tried to reach", FRONT),
    ("", "call died", "tried to reach", FRONT),
    ("stands lost to follow-up", "call died", "tried to reach", FRONT),
    ("", "hand-over", "sheet handed over", FRONT),
    ("", "give", "bottles given", "manager, pharmacy"),
]
IDS = [f"{before or 'as planned'}; {what}" for before, what, _, _ in STEPS]


@pytest.mark.parametrize(("before", "what", "action", "roles"), STEPS, ids=IDS)
def test_a_step_taken_back_leaves_everything_as_it_was_and_the_other_patients_as_it_is(
    two, before, what, action, roles
):
    mine, other = two.found

    def noted(unit):
        for word in before.split(", ") if before else ():
            mine.does(unit, word)
            other.does(unit, word)
        # The other patient's is noted too, and stays.
        other.does(unit, what)
        stood, beside = mine.stands(unit), other.stands(unit)
        mine.does(unit, what)
        step, changed = mine.step(unit), mine.stands(unit)
        take_back(unit, patient_id=mine.who, entry=step.number)
        return step.action, stood, changed, mine.stands(unit), beside, other.stands(unit)

    name, stood, changed, back, beside, still = two.would(two.at(7), noted, by=EVERYBODY)
    assert name == action
    assert changed != stood
    assert back == stood
    # Places are counted for both together.
    del beside["places"], still["places"]
    assert still == beside, "the other patient's"


@pytest.mark.parametrize(("before", "what", "action", "roles"), STEPS, ids=IDS)
def test_a_step_is_taken_back_by_the_desks_whose_it_is_and_by_nobody_else(two, before, what, action, roles):
    mine = two.found[0]

    def refused(unit, role):
        for word in (*(before.split(", ") if before else ()), what):
            mine.does(unit, word)
        step = mine.step(unit)
        unit.actor = Actor(f"the {role}", frozenset({role}), role.capitalize(), "R-9")
        try:
            take_back(unit, patient_id=mine.who, entry=step.number)
        except FollowupError as error:
            return error.code
        return None

    found = {role: two.would(two.at(7), refused, by=EVERYBODY, role=role) for role in ROLES}
    allowed = roles.split(", ")
    assert found == {role: None if role in allowed else "role.missing" for role in ROLES}


def test_whoever_was_here_twice_is_open_again_when_the_second_arrival_was_a_slip(two):
    mine = two.found[0]

    def noted(unit):
        for word in ("arrive", "leave"):
            mine.does(unit, word)
        mark_arrived(unit, trip_id=mine.trip, nonce="again")
        take_back(unit, patient_id=mine.who, entry=mine.step(unit).number)
        query = "SELECT status, arrived_at, seen_on, left_at FROM trip WHERE id = :id"
        return tuple(unit.session.execute(text(query), {"id": mine.trip}).one())

    assert two.would(two.at(7), noted, by=EVERYBODY) == ("proposed", None, None, None)


def test_who_came_without_a_visit_by_mistake_leaves_a_visit_that_never_was(two):
    mine = two.found[0]

    def noted(unit):
        mine.does(unit, "walk-in")
        take_back(unit, patient_id=mine.who, entry=mine.step(unit).number)
        visit = "SELECT status, seen_on, ended_reason FROM trip WHERE patient_id = :who AND tier = 'C'"
        alert = "SELECT closed_word FROM alert WHERE patient_id = :who"
        found = [
            unit.session.execute(text(query), {"who": mine.who}).all()[-1]
            for query in (f"{visit} ORDER BY id", alert)
        ]
        return [tuple(row) for row in found]

    found = two.would(two.at(7), noted, by=EVERYBODY)
    assert found == [("cancelled", None, "taken back"), ("taken back",)]


@pytest.mark.parametrize(
    ("noted", "day", "hour"),
    [
        ("book 09:30, promise 8", "2027-03-09", None),
        ("book 09:30, promise 7", "2027-03-08", "09:30"),
        ("move 8 09:30, promise 8", "2027-03-09", "09:30"),
    ],
)
def test_an_hour_is_of_its_day_and_another_day_that_is_promised_begins_without_one(two, noted, day, hour):
    mine = two.found[0]

    def promised(unit):
        for word in noted.split(", "):
            mine.does(unit, word)
        found = unit.session.execute(
            text("SELECT day, hour, status FROM trip WHERE id = :id"), {"id": mine.trip}
        )
        return tuple(found.one())

    assert two.would(two.at(7), promised, by=EVERYBODY) == (day, hour, "booked")
