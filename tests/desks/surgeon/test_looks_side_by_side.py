"""Which look the surgeon's week shows, in which order; what a look leaves of the other eye and of itself."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import pytest

from followup.care.danger import newest_looks
from followup.care.looks.before_leaving import Checked, checks_to_do, note_check
from followup.care.looks.eye_case import eye_case
from followup.care.looks.looks import Looked, store_findings
from followup.care.looks.overview import overview
from followup.care.plans.plan_view import PlanView
from followup.care.plans.signing import is_quiet
from followup.care.trips.trip_lines import LookedAt, TripLine
from followup.clinical.careplan import BeforeLeaving, CarePlan, Course, Step
from followup.clinical.record import Findings, Record
from followup.desks.door.hand import Desk, DeskHand, desk_hand
from followup.recall.codes.keyring import Keyring
from followup.records.house.staff import add_staff
from followup.records.people.patients import enter_record, newest_record
from followup.records.views import SYSTEM, Actor, Clinic, LoginSession

DAY0 = date(2027, 3, 1)
EVERYBODY = Actor("all", frozenset({"counsellor", "reception", "surgeon"}), "Dr All", "R-1")


def _on(number: int) -> date:
    return DAY0 + timedelta(days=number)


def _at(number: int) -> datetime:
    return datetime(2027, 3, 1, 9, tzinfo=UTC) + timedelta(days=number)


def _visit(now: datetime, store=None, protocol=None) -> DeskHand:
    clinic = Clinic("Riverbend Eye Clinic", "RBE", "+44 20 7946 0100", "+44 20 7946 0199", "UTC")
    desk = Desk(store, protocol, Keyring.fresh(), lambda: now, SimpleNamespace())
    staff = SimpleNamespace(actor=EVERYBODY, roles=EVERYBODY.roles)
    return desk_hand(desk, clinic, now, LoginSession("x", staff, now, now, now, None), None)


def _record(code: str, *looks: dict, operated=(("right", 0),)) -> Record:
    operations = [
        {"eye": eye, "eye_drawn": eye, "date": _on(day), "procedure": "phacoemulsification"}
        for eye, day in operated
    ]
    reviews = [{"eye": "right"} | look for look in looks]
    who = {"code": code, "name": f"Person {code}", "birth_year": 1955, "language": "en"}
    return Record.model_validate({"patient": who, "operations": operations, "reviews": reviews})


def test_the_week_holds_seven_days_with_today_and_of_each_eye_its_last_look(sqlite_ward, protocol):
    """Today is day 14; of what is alike the longer after the (last) operation stands first."""
    people = (
        _record("A-SEVEN-DAYS-AGO", {"date": _on(7), "cells": "4+"}),
        _record("B-SIX-DAYS-AGO", {"date": _on(8), "cells": "3+"}),
        _record("C-TODAY", {"date": _on(14), "cells": "2+", "pressure": 14}),
        _record("D-TODAY-PRESSURE-UP", {"date": _on(14), "cells": "2+", "pressure": 34}),
        _record("E-LONGER-AFTER", {"date": _on(14), "cells": "2+"}, operated=(("right", -10),)),
        _record("F-AGAIN", {"date": _on(14), "cells": "3+"}, operated=(("right", -30), ("right", 10))),
        _record("G-TOMORROW", {"date": _on(15), "cells": "4+"}),
        _record(
            "H-CALM-SINCE-NOON",
            {"date": _on(14), "time": "08:00", "cells": "4+"},
            {"date": _on(14), "time": "16:00", "cells": "0"},
        ),
    )
    with sqlite_ward.store.write(sqlite_ward.counsellor, _at(14)) as unit:
        for record in people:
            enter_record(unit, record=record)
    found = overview(_visit(_at(14), sqlite_ward.store, protocol)).inflamed
    shown = [(one.who.code, one.day) for one in found]
    assert shown == [
        ("B-SIX-DAYS-AGO", 8),
        ("F-AGAIN", 4),
        ("E-LONGER-AFTER", 24),
        ("D-TODAY-PRESSURE-UP", 14),
        ("C-TODAY", 14),
    ]


def test_the_newest_look_at_each_eye_is_the_later_hour_of_its_last_day_unless_it_was_known():
    late = {"date": _on(7), "time": "16:00", "cells": "3+"}
    early = {"date": _on(7), "time": "08:00", "cells": "0"}
    left = {"eye": "left", "date": _on(5), "cells": "1+"}
    after = _record("K-1", late, early, left, operated=(("right", 0), ("left", 0)))
    told = [(one.eye, one.cells) for one in newest_looks(None, after)]
    assert sorted(told) == [("left", "1+"), ("right", "3+")]
    before = _record("K-1", early, left, operated=(("right", 0), ("left", 0)))
    assert [(one.eye, one.cells) for one in newest_looks(before, after)] == [("right", "3+")]
    assert newest_looks(after, after) == ()


@pytest.fixture
def both_seen(sqlite_ward):
    """Both eyes operated on today and looked at already; a check of the right eye before leaving is open."""
    with sqlite_ward.store.write(SYSTEM, sqlite_ward.now) as unit:
        more = {"roles": sorted(EVERYBODY.roles), "password_hash": "-", "registration": "R"}
        add_staff(unit, login="all", name="Dr All", **more)
    looks = (
        {"date": DAY0, "cells": "1+", "note": "first"},
        {"eye": "left", "date": DAY0, "cells": "2+", "pressure": 15, "note": "the other eye"},
    )
    who = sqlite_ward.enter(_record("K-1", *looks, operated=(("right", 0), ("left", 0))))
    checks = tuple(
        BeforeLeaving(key=key, kind="pressure", eye=eye, earliest=hour, latest=None, text="measure")
        for key, eye, hour in (("l", "left", "15:00"), ("r", "right", "13:00"))
    )
    sqlite_ward.draft(who, sqlite_ward.body(before_leaving=checks))
    return sqlite_ward, who


def _seen(ward, who) -> list[tuple]:
    with ward.store.read() as session:
        looks = newest_record(session, who).record.reviews
    return sorted((one.eye, one.cells, one.pressure, one.note) for one in looks)


def test_a_pressure_before_leaving_goes_into_todays_look_and_leaves_the_other_eye(both_seen, protocol):
    ward, who = both_seen
    hand = _visit(ward.now, ward.store, protocol)
    with ward.store.read() as session:
        assert [one.check.key for one in checks_to_do(session, hand)] == ["r", "l"], (
            "by the hour they are due"
        )
    eye, _ = note_check(hand, "K-1", Checked(key="r", mmhg=22.0))
    assert eye == "right"
    assert _seen(ward, who) == [
        ("left", "2+", 15, "the other eye"),
        ("right", "1+", 22, "first"),
    ]


def test_findings_of_one_eye_leave_those_of_the_other_of_the_same_day(both_seen, protocol):
    ward, who = both_seen
    hand = _visit(ward.now, ward.store, protocol)
    case = eye_case(hand, "K-1", "right")
    look = Findings(eye="right", date=hand.today, cells="3+", note="second")
    store_findings(hand, case, Looked(seen=1, look=look))
    assert _seen(ward, who) == [
        ("left", "2+", 15, "the other eye"),
        ("right", "3+", None, "second"),
    ]


def test_a_visit_for_one_eye_is_not_told_to_be_for_both():
    both = SimpleNamespace(eyes=("right", "left"))
    for named, eyes in (
        (("left",), ("left",)),
        (("right",), ("right",)),
        (("left", "right"), ("right", "left")),
        ((None,), ("right", "left")),
        ((), ("right", "left")),
    ):
        reasons = tuple(LookedAt("k", "look", eye) for eye in named)
        assert TripLine(None, both, "upcoming", 0, reasons, None).eyes == eyes, named


@pytest.mark.parametrize(
    ("count", "eye", "quiet"),
    [(7, "right", True), (8, "right", False), (9, "right", False), (8, None, True)],
)
def test_eight_drops_a_day_are_looked_at_before_they_are_signed(protocol, count, eye, quiet):
    course = Course(
        key="right:steroid", role="steroid", medicine="dexamethasone-0-1", eye=eye,
        steps=(Step(start=_on(1), days=7, count=4), Step(start=_on(8), days=7, count=count)),
    )  # fmt: skip
    given = {"patient": "K-1", "as_of": DAY0, "status": "active", "protocol": "sample", "protocol_hash": "ab"}
    plan = CarePlan.model_validate({**given, "approved": True, "engine": "1", "courses": (course,)})
    view = PlanView(SimpleNamespace(body=plan), _record("K-1"), protocol, DAY0)
    assert is_quiet(view) is quiet
    high = view.version.body.model_copy(update={"tiers": {"right": "A"}})
    assert not is_quiet(PlanView(SimpleNamespace(body=high), _record("K-1"), protocol, DAY0))


def test_no_check_before_leaving_is_asked_of_an_eye_operated_on_another_day(sqlite_ward, protocol):
    who = sqlite_ward.enter(_record("K-1", operated=(("right", 0), ("left", -7))))
    checks = tuple(
        BeforeLeaving(key=eye, kind="pressure", eye=eye, earliest=None, latest=None, text="measure")
        for eye in ("left", "right")
    )
    sqlite_ward.draft(who, sqlite_ward.body(before_leaving=checks))
    hand = _visit(sqlite_ward.now, sqlite_ward.store, protocol)
    with sqlite_ward.store.read() as session:
        assert [one.check.eye for one in checks_to_do(session, hand)] == ["right"]
