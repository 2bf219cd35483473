"""The four weeks after some of the twelve operations, day by day, as a surgeon would tell them."""

from __future__ import annotations

CALM = dict.fromkeys(
    ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"), "no"
)
QUIET = CALM | {"cells": "0", "flare": "0", "pressure": 14, "vision": "6/9", "leak": "none", "blood": "none"}


def test_1_she_comes_every_day_she_should_and_nothing_is_added(story):
    one = story("wanjiru")
    due = one.visits(0)
    assert due[:2] == [1, 7]
    assert 29 <= due[2] <= 35
    first = one.plan(0)
    for day in due:
        plan = one.plan(day)
        assert one.visits(day)[0] == day, "the visit is where it was"
        assert one.stands(plan.trips[-1] if day == due[-1] else plan.trips[0], day) == "due today"
        told = one.look(day, **QUIET, **({"refraction": "-0.50"} if day > 28 else {}))
        assert [p.id for p in told.proposals] == ["go-on"]
        assert told.senior == ()
    last = one.plan(due[-1])
    assert one.visits(due[-1]) == []
    assert {n.state for n in last.needs} == {"served"}
    assert last.course("right:steroid").steps == first.course("right:steroid").steps
    assert last.signable


def test_2_he_misses_day_seven_and_is_late_then_overdue_then_caught_up_at_once(story):
    two = story("tom")
    (week,) = [t for t in two.plan(1).trips if two.day(t.date) == 7]
    two.look(1, **QUIET)
    assert [two.stands(week, day) for day in (6, 7, 8, 9, 10)] == [
        "upcoming",
        "due today",
        "late",
        "late",
        "overdue",
    ]
    # On day 8 the window is still open: the look moves to what is left of it.
    assert two.visits(8)[0] == 8
    # On day 11 nothing was written down: the plan asks and guesses nothing.
    asked = two.plan(11)
    assert "done-left-wound" in {q.id for q in asked.questions}
    assert not asked.signable
    # Reception says that he did not come: the look is caught up within two days.
    two.missed(7)
    caught = two.plan(11)
    assert "done-left-wound" not in {q.id for q in caught.questions}
    assert two.visits(11)[0] == 11
    two.look(12, **QUIET)
    assert "left:wound" in {n.key for n in two.plan(12).needs if n.state == "served"}


def test_3_cells_2_plus_on_day_seven_and_1_plus_with_27_on_day_21(story):
    three = story("amina")
    three.look(1, **QUIET | {"cells": "2+"})
    before = three.plan(7)
    told = three.look(7, **QUIET | {"cells": "2+", "pressure": 18})
    # Day 7 is the last of 8 a day: always above the present count, so hourly for three days.
    assert told.present_count == 8
    assert [p.id for p in told.proposals] == ["raise"]
    three.sign("raise")
    after = three.plan(7)
    assert three.drops(after, 7) == 8
    assert [three.drops(after, 8 + i) for i in (0, 2, 3, 6, 7, 13, 14)] == [16, 16, 8, 8, 6, 6, 5]
    # What hangs on the last steroid day moves with it: a week later, and so do refraction and bottles.
    days = (after.last_steroid_day["left"] - before.last_steroid_day["left"]).days
    assert days == 7
    for kind in ("taper-end", "refraction", "rebound"):
        old, new = (next(n for n in p.needs if n.kind == kind) for p in (before, after))
        assert (new.earliest - old.earliest).days == 7
    assert len(after.supply) > len(before.supply)
    # Seen again in two to four days, and the visits are planned again.
    assert three.visits(7)[0] == 10
    three.look(three.visits(7)[0], **QUIET | {"cells": "1+"})
    told = three.look(21, **QUIET | {"cells": "1+", "pressure": 27})
    assert told.senior == ()
    assert [p.id for p in told.proposals] == ["pressure-unchanged", "go-on"]
    pressure = told.proposals[0]
    assert "the steroid is not lowered for the pressure" in pressure.title
    assert [o.kind for o in pressure.offers] == ["carbonic anhydrase inhibitor"]
    assert "beta-blocker" in {r.kind for r in pressure.not_offered}, "lungs and heart were not asked about"
    assert "prostaglandin" in {r.kind for r in pressure.not_offered}, "the eye has uveitis"
    three.sign("pressure-unchanged", offer=("dorzolamide-2", 28))
    plan = three.plan(21)
    assert plan.last_steroid_day == after.last_steroid_day
    assert three.drops(plan, 21, "pressure") == 3
    assert three.visits(21)[0] == 28


def test_4_a_white_level_on_day_four_is_for_a_senior_the_same_day_and_nothing_else(story):
    four = story("peter")
    told = four.look(4, hypopyon="yes", cells="3+", pressure=24, pain="no")
    assert {c.id for c in told.senior} == {"hypopyon", "cells-3"}, "no crystals: his steroid was a solution"
    assert told.proposals == ()


def test_6_he_never_comes_back_and_no_look_is_dropped(story):
    six = story("ibrahim")
    six.look(1, **QUIET | {"chamber": "deep"})
    plan = six.plan(1)
    (second, *_) = [t for t in plan.trips if t.status == "proposed"]
    assert second.tier == "A", "an only eye stands high on the list to day 90"
    assert six.stands(second, six.day(second.window_end) + 1) == "overdue"
    wanted = {n.key for n in plan.needs}
    for day in (10, 20, 40, 70, 100):
        later = six.plan(day)
        assert wanted <= {n.key for n in later.needs}
        open_now = {n.key for n in later.needs if n.state == "open" and n.latest >= six.date(day)}
        asked = {q.id for q in later.questions if q.id.startswith("done-")}
        closed = {n.key for n in later.needs if n.state == "open" and n.latest < six.date(day)}
        planned = {key for t in later.trips for key in t.serves}
        assert open_now <= planned
        assert {f"done-{key.replace(':', '-')}" for key in closed} == asked
        assert asked, "what was due and of which nobody wrote is asked about"
        assert not later.signable


def test_7_31_on_day_14_without_cells_in_an_eye_that_rises_on_steroid(story):
    seven = story("grace")
    seven.choose(responder_course="A")
    seven.look(1, **QUIET)
    seven.look(7, **QUIET | {"pressure": 20})
    told = seven.look(14, **QUIET | {"pressure": 31})
    assert told.response.startswith("Steroid response: 31 mmHg, 12 more")
    ways = [p for p in told.proposals if p.about == "pressure"]
    assert [p.id for p in ways] == ["pressure-stop", "pressure-unchanged"], "the weaker one is given already"
    assert all(p.today for p in ways)
    assert all("beta-blocker" in {r.kind for r in p.not_offered} for p in ways)
    assert all(p.offers == () for p in ways), "her two drops are not named: their classes may be any"
    before = seven.plan(14)
    seven.sign("pressure-stop")
    after = seven.plan(14)
    assert seven.day(after.last_steroid_day["right"]) == 14
    assert after.last_steroid_day["right"] < before.last_steroid_day["right"]
    assert seven.visits(14)[0] == 15
    old, new = (next(n for n in p.needs if n.key == "right:refraction") for p in (before, after))
    assert (seven.day(old.earliest), seven.day(new.earliest)) == (29, 28)


def test_9_a_lost_sheet_changes_nothing_in_the_plan(story):
    nine = story("devika")
    assert nine.plan(3).model_dump_json() == nine.plan(3).model_dump_json()
    assert nine.plan(3).course("right:steroid") == nine.plan(0).course("right:steroid")


def test_11_cells_2_plus_on_day_ten_without_drops_starts_the_rescue_at_once(story):
    eleven = story("fatuma")
    eleven.look(1, **QUIET)
    assert [c.state for c in eleven.plan(1).courses if c.role == "steroid"] == ["stopped"]
    told = eleven.look(10, **QUIET | {"cells": "2+"})
    assert [p.id for p in told.proposals] == ["rescue"]
    assert told.proposals[0].today
    before = eleven.plan(10)
    eleven.sign("rescue")
    after = eleven.plan(10)
    assert [eleven.drops(after, day) for day in (9, 10, 16, 17, 23, 24)] == [0, 8, 8, 6, 6, 5]
    assert eleven.visits(10)[0] == 13
    assert after.rounds[0].start == eleven.date(10)
    assert any(b.opened == eleven.date(10) for b in after.supply)
    # Refraction waits for the end of the drops that were not there before.
    old, new = (next(n for n in p.needs if n.kind == "refraction") for p in (before, after))
    assert new.earliest > old.earliest
    assert new.earliest > after.last_steroid_day["right"]
