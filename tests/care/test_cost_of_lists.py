"""What lists cost: as many questions to the database for nine people as for three, and no plan is read."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import pytest
from sqlalchemy import event

from followup.care.hand import hand_for
from followup.care.house.followed import followed
from followup.care.house.shelf import shelf
from followup.care.looks.before_leaving import checks_to_do
from followup.care.looks.overview import overview
from followup.care.reach.calls import calls_of
from followup.care.sheets.giving import window
from followup.care.trips.trip_lines import visit_lines
from followup.clinical.careplan import CarePlan, Course, Step
from followup.clinical.day_plan import Bottle
from followup.clinical.protocol.load import load_protocol
from followup.recall.codes.keyring import Keyring
from followup.recall.jobs.lists import due_lines
from followup.recall.reach.worklist import worklist
from followup.records.plans.protocols import sign_protocol
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.trips.trips import day_trips, missed_trips


def _in_session(read):
    def asked(hand):
        with hand.store.read() as session:
            return read(session, hand)

    return asked


def _day(session, hand):
    trips = (*missed_trips(session, hand.today), *day_trips(session, hand.today))
    return visit_lines(session, hand, trips, drawn=True)


LISTS = {
    "the day": _in_session(_day),
    "to reach": _in_session(lambda session, hand: worklist(session, hand.now, hand.protocol.recall)),
    "due": _in_session(lambda session, hand: due_lines(session, hand.today, hand.now, hand.protocol.kinds)),
    "before leaving": _in_session(checks_to_do),
    "my patients": overview,
    "calls": lambda hand: [call for calls in calls_of(hand, hand.today).values() for call in calls],
    "bottles": lambda hand: window(hand).today,
    "the shelf": lambda hand: shelf(hand).out,
    "outcomes": lambda hand: followed(hand).visits,
}
# By list the day on which everybody stands on it; where nobody has to, any.
ON = {"due": 7, "before leaving": 0, "my patients": 10, "calls": 6, "bottles": 7, "the shelf": 7}


def _come(ward, numbers):
    """More people, each with a signed plan, a bottle and a sheet; two of three have it in hand."""
    for number in numbers:
        code, sheet = f"K-{number}", f"{number:010d}"
        steps = (Step(start=ward.day0, days=7, count=4), Step(start=ward.day(7), days=7, count=3))
        drop = Course(
            key="right:steroid", role="steroid", medicine="dexamethasone-0.1", eye="right", steps=steps
        )
        bottle = Bottle(
            course=drop.key, number=1, opened=ward.day(7), discard=ward.day(30), drops=20,
            handed_over=ward.day(7),
        )  # fmt: skip
        plan = ward.signed(code, ward.body(code, courses=(drop,), supply=(bottle,)))
        with ward.store.write(ward.counsellor, ward.now) as unit:
            issue_sheet(unit, plan_id=plan.id, sheet_id=sheet, language="en")
            if number % 3:
                hand_over_sheet(unit, sheet_id=sheet, to="self")


@dataclass
class Cost:
    """What a list asked the database, how many plans it read, and how many lines it had."""

    questions: int
    plans: int
    lines: int


@pytest.fixture(scope="module")
def costs(shared_ward):
    """Each list read with three people in the clinic and with nine.

    On SQLite alone: how often the program asks does not hang on whom it asks.
    """
    ward, asked, read = shared_ward, Counter(), Counter()
    protocol, keyring, whole = load_protocol(), Keyring.fresh(), CarePlan.model_validate_json
    with ward.store.write(ward.surgeon, ward.now) as unit:
        sign_protocol(unit, hash=protocol.hash, name="shipped", version="1")
    found = {name: [] for name in LISTS}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            CarePlan, "model_validate_json", lambda text, **more: read.update("p") or whole(text, **more)
        )
        event.listen(ward.store.engine, "before_cursor_execute", lambda *_: asked.update("s"))
        for numbers in (range(3), range(3, 9)):
            _come(ward, numbers)
            for name, listed in LISTS.items():
                now = ward.at(ON.get(name, 12))
                hand = hand_for(ward.store, protocol, keyring, now=now, person=ward.surgeon)
                read.clear()
                asked.clear()
                told = listed(hand)
                lines = len(told) if hasattr(told, "__len__") else 0
                found[name].append(Cost(asked["s"], read["p"], lines))
    return found


@pytest.mark.parametrize("name", LISTS)
def test_a_list_asks_as_often_for_nine_people_as_for_three_and_reads_no_plan(costs, name):
    three, nine = costs[name]
    assert three.questions == nine.questions > 0
    assert (three.plans, nine.plans) == (0, 0), "a plan was read for a line"
    if name not in ("before leaving", "my patients"):
        assert nine.lines > three.lines > 0
