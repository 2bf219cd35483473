"""No stretch between two looks grows too long: recently active uveitis, the first weeks at risk, depots."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import pytest

ACTIVE = {"uveitis": {"kind": "anterior", "last_active": "2026-02-09", "herpetic": False}}
AT_RISK = {
    "vitreous lost": {"capsule_torn": True, "vitreous_lost": True, "lens": "sulcus"},
    "vitrectomy": {"vitrectomy": True},
    "piece in the chamber": {"lens_left": "chamber"},
    "piece in the vitreous": {"lens_left": "vitreous"},
    "no lens": {"lens": "none"},
    "sulcus": {"lens": "sulcus"},
    "front chamber": {"lens": "front chamber", "iridotomy": "open"},
}
DEPOT = {"medicine": "triamcinolone-injection", "fate": "left", "form": "crystals", "purpose": "treat"}


def apart(plan, until):
    """The days between two visits that follow each other, of all that begin before ``until``."""
    return [b - a for a, b in pairwise(plan.trip_days()) if a < until]


def test_recently_active_uveitis_is_looked_at_every_three_weeks_while_the_steroid_falls(someone, told):
    plan = told(someone(eye=ACTIVE))
    assert max(apart(plan, plan.last())) <= 21
    gap = next(g for g in plan.plan.gaps if g.key == "right:cells-gap")
    assert gap.look == "inflammation"
    alone = [t for t in plan.plan.trips if not t.serves]
    assert alone

    assert any(r.rule == "uveitis-cells-gap" for trip in alone for r in trip.reasons)


@pytest.mark.parametrize(("second", "later"), [(-21, "right"), (70, "left")])
def test_the_three_weeks_end_with_the_steroid_of_their_own_eye(someone, told, on_day, second, later):
    """Six days after its last one, whichever eye has it longer."""
    other = {"eye": "left", "eye_drawn": "left", "date": on_day(second)}
    plan = told(someone(eye=ACTIVE, more_operations=[other])).plan
    ends = [gap.last for gap in plan.gaps if gap.key == "right:cells-gap"]
    assert max(plan.last_steroid_day, key=plan.last_steroid_day.__getitem__) == later
    assert ends == [plan.last_steroid_day["right"] + timedelta(days=6)]


def test_uveitis_quiet_for_long_keeps_the_ordinary_distance(someone, told):
    plan = told(someone(eye={"uveitis": {"kind": "anterior", "last_active": "2025-01-01"}}))
    assert all(g.key != "right:cells-gap" for g in plan.plan.gaps)


def test_a_day_of_activity_not_written_down_counts_as_recent(someone, told):
    assert any(g.key == "right:cells-gap" for g in told(someone(eye={"uveitis": {}})).plan.gaps)


def test_a_look_at_which_the_cells_were_not_seen_does_not_count_against_the_three_weeks(
    someone, told, on_day
):
    healthy = {"pressure": 15, "macula": "dry", "chamber": "deep", "leak": "none"}
    first = [healthy | {"date": on_day(n), "cells": "1+"} for n in (1, 3, 7, 14)]

    def coming(cells):
        last = healthy | {"date": on_day(28), "cells": cells}
        return min(told(someone(eye=ACTIVE, reviews=[*first, last]), as_of=28).trip_days("proposed"))

    assert coming("not seen") <= 35
    assert 35 < coming("1+") <= 49


@pytest.mark.parametrize("what", AT_RISK)
def test_after_an_event_that_lets_infection_in_the_first_five_weeks_are_close(someone, told, what):
    plan = told(someone(operation=AT_RISK[what]))
    assert plan.plan.tiers["right"] == "B"
    assert plan.windows()["right:wound"] == (5, 6, 7)
    assert plan.windows()["right:first-look"] == (1, 1, 1)
    days = [0, *plan.trip_days()]
    assert max(b - a for a, b in pairwise(days) if b <= 35) <= 14
    # The stretch that runs past day 35 holds no more than two weeks of these five.
    assert max(day for day in days if day <= 35) >= 22


def test_the_first_weeks_stay_close_where_there_is_no_steroid_to_watch(someone, told):
    """The distance hangs on the operation, not on drops."""
    plan = told(someone(operation={"lens": "none", "steroid": []}))
    gap = next(g for g in plan.plan.gaps if g.key == "right:first-weeks-gap")
    assert (plan.number(gap.first), plan.number(gap.last), gap.limit) == (0, 35, 13)


def test_a_lens_in_the_bag_without_event_is_left_alone(someone, told):
    plan = told(someone())
    assert plan.windows()["right:wound"] == (5, 7, 9)
    assert plan.plan.tiers["right"] == "C"


def test_a_weight_draws_the_visit_to_the_day_of_the_need_that_carries_it(someone, told):
    """Day 6 for infection weighs two, day 7 for the place of the lens one."""
    plan = told(someone(operation=AT_RISK["sulcus"]))
    assert plan.need("right:wound").weight == 2
    assert (
        next(t for t in plan.plan.trips if "right:wound" in t.serves).date == plan.need("right:wound").target
    )


@pytest.mark.parametrize(
    ("given", "long"),
    [
        ({"place": "vitreous", "mg": 2}, True),
        ({"place": "sub-Tenon", "mg": 20}, True),
        ({"place": "under the conjunctiva", "mg": 10}, True),
        ({"place": "chamber", "mg": 2}, False),
        ({"place": "chamber", "mg": 4}, True),
        ({"place": "chamber"}, True),
    ],
)
def test_a_depot_is_looked_after_as_long_as_its_place_and_dose_act(someone, told, given, long):
    plan = told(someone(operation={"steroid": [DEPOT | given]}))
    windows = plan.windows()
    assert [f"right:depot-{n}" in windows for n in range(1, 7)] == [True] * 4 + [long] * 2
    assert (max(plan.trip_days()) >= 84) is long


def test_a_solution_that_is_gone_in_days_is_no_depot(someone, told):
    solution = {
        "medicine": "dexamethasone-injection",
        "mg": 0.4,
        "place": "chamber",
        "form": "solution",
        "purpose": "treat",
        "fate": "left",
    }
    for choice in (None, "no drops"):
        operation = {"steroid": [solution], "choices": {"depot_course": choice} if choice else {}}
        plan = told(someone(operation=operation))
        assert not [key for key in plan.windows() if "depot" in key]
        assert plan.steps("right:steroid") == "4x7 3x7 2x7 1x7"


@pytest.mark.parametrize("birth_date", ["1954-06-11", "1985-06-11"])
def test_drops_refused_after_a_depot_mean_none_of_the_looks_fewer(someone, told, birth_date):
    given = {
        **DEPOT,
        "medicine": "dexamethasone-injection",
        "mg": 0.5,
        "place": "behind the iris",
        "form": "slow-release",
    }
    with_drops, without = (
        told(
            someone(
                operation={"steroid": [given], "choices": {"depot_course": choice}}, birth_date=birth_date
            )
        )
        for choice in ("taper", "no drops")
    )
    assert without.windows() == with_drops.windows(), "each look under its name, in its window"
    limits = [{(g.key, g.limit) for g in plan.plan.gaps} for plan in (with_drops, without)]
    assert limits[0] == limits[1]
    assert without.plan.trips == with_drops.plan.trips
    assert without.courses()["right:steroid"] == "stopped"
    assert len(without.trip_days()) >= len(with_drops.trip_days())
    assert without.caution("rescue-path")


def test_drops_refused_after_a_depot_start_today_as_the_drops_would(someone, told):
    today = {"pad": False, "drops_from_today": True, "steroid": [DEPOT | {"place": "vitreous"}]}
    with_drops, without = (
        told(someone(operation=today | {"choices": {"depot_course": choice}}))
        for choice in ("taper", "no drops")
    )
    assert without.windows() == with_drops.windows()


def test_the_short_course_of_a_responder_keeps_the_pressure_check_at_its_end(someone, told):
    eye = {"steroid_responder": True}
    long, short = (
        told(someone(eye=eye, operation={"choices": {"responder_course": course}})) for course in ("A", "B")
    )
    assert set(long.windows()) <= set(short.windows())
    last = short.last()
    assert short.windows()["right:pressure-end"] == (last + 1, last + 1, last + 7)
