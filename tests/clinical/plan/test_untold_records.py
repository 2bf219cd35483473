"""Records that no case tells: each gives a right plan, or a question or refusal that names the field."""

from __future__ import annotations

import pytest

from followup.errors import FollowupError

DEPOT = {
    "medicine": "triamcinolone-injection",
    "mg": 4,
    "place": "chamber",
    "form": "crystals",
    "purpose": "treat",
    "fate": "left",
}
TABLETS = {"medicine": "prednisolone-5-tablet", "route": "mouth", "count_a_day": 1, "ordered_by": "Dr Osei"}
DEPOT_LOOKS = {"right:depot-1", "right:depot-2", "right:depot-3", "right:depot-4"}


def refused(told, record):
    with pytest.raises(FollowupError) as caught:
        told(record)
    assert "\n" not in caught.value.line
    return caught.value


# ---- the same eye again -------------------------------------------------------------------------
def test_a_depot_of_the_last_operation_is_still_watched_after_the_next_on_the_same_eye(someone, told, on_day):
    again = {"date": on_day(3), "procedure": "secondary lens"}
    plan = told(someone(operation={"steroid": [DEPOT]}, more_operations=[again]))
    assert set(plan.windows()) >= DEPOT_LOOKS
    # The depot no longer shortens anything, and a secondary lens is an event.
    assert plan.steps("right:steroid") == "6x7 5x7 4x7 3x7 2x7 1x7"
    assert "ask-depot-course" not in plan.asks()


def test_crystals_seen_after_the_last_operation_are_watched_too(someone, told, on_day):
    rinsed = DEPOT | {"fate": "washed out", "crystals_seen_after": True}
    again = {"date": on_day(30), "procedure": "secondary lens"}
    plan = told(someone(operation={"steroid": [rinsed]}, more_operations=[again]))
    assert set(plan.windows()) >= DEPOT_LOOKS


@pytest.mark.parametrize(("days", "watched"), [(90, True), (91, False)])
def test_a_depot_is_watched_for_ninety_days(someone, told, on_day, days, watched):
    plan = told(someone(operation={"steroid": [DEPOT]}, more_operations=[{"date": on_day(days)}]))
    assert (set(plan.windows()) >= DEPOT_LOOKS) is watched


def test_a_responder_with_a_depot_of_the_last_operation_is_asked_about(someone, told, on_day):
    again = {"date": on_day(3), "procedure": "secondary lens"}
    known = {"steroid_responder": True}
    plan = told(someone(operation={"steroid": [DEPOT]}, eye=known, more_operations=[again]))
    assert "ask-steroid-in-responder" in plan.blocking()
    assert plan.courses()["right:steroid"] == "held"


def test_the_other_eyes_depot_is_not_this_eyes(someone, told, on_day):
    left = {"eye": "left", "eye_drawn": "left", "date": on_day(3)}
    plan = told(someone(operation={"steroid": [DEPOT]}, more_operations=[left]))
    assert not any(key.startswith("left:depot") for key in plan.windows())


# ---- history --------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "history", [{"macular_oedema": True}, {"after_earlier_operation": {"macular_oedema": True}}]
)
def test_macular_oedema_before_or_after_an_earlier_operation_asks_for_the_macula(someone, told, history):
    assert {"right:macula-1", "right:macula-2"} <= set(told(someone(eye=history)).windows())


@pytest.mark.parametrize(
    "history", [{"retinal_detachment": True}, {"after_earlier_operation": {"retinal_detachment": True}}]
)
def test_a_detachment_before_or_after_an_earlier_operation_asks_for_the_retina(someone, told, history):
    assert "right:retina-long-eye" in told(someone(eye=history)).windows()


@pytest.mark.parametrize(
    ("iridotomy", "warned"), [("none", True), ("not open", True), ("open", False), (None, False)]
)
def test_a_front_chamber_lens_without_an_open_iridotomy_is_warned_of(someone, told, iridotomy, warned):
    plan = told(someone(operation={"lens": "front chamber", "iridotomy": iridotomy}))
    assert ("front-lens-no-iridotomy" in plan.cautions()) is warned
    assert plan.windows()["right:iridotomy"] == (1, 1, 1)


def test_a_pupil_widening_drop_that_the_surgeon_wants_is_given_where_no_rule_gives_it(someone, told):
    plan = told(someone(operation={"choices": {"cycloplegic": "give"}}))
    assert plan.steps("right:cycloplegic") == "3x7 2x7"
    assert "right:cycloplegic" not in told(someone()).courses()


# ---- medicines in use ------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "entry",
    [
        {"medicine": "prednisolone-5-tablet", "route": "eye", "eye": "right", "count_a_day": 1},
        {"medicine": "timolol-0-5", "route": "mouth", "count_a_day": 1},
        {"medicine": "dexamethasone-depot", "route": "eye", "eye": "right", "count_a_day": 1},
    ],
)
def test_a_medicine_in_use_by_a_way_that_it_is_not_made_for_is_refused_by_its_field(someone, told, entry):
    assert refused(told, someone(in_use=[entry])).where == "record: in_use.0.route"


@pytest.mark.parametrize("tablets", [{}, {"mg_steps": [{"starts": "2026-03-10", "mg": 10}]}])
def test_steroid_tablets_without_their_mg_are_asked_about(someone, told, tablets):
    plan = told(someone(in_use=[TABLETS | tablets]))
    assert "in-use-mg-0" in plan.blocking()
    assert plan.question("in-use-mg-0").fields == ("in_use.0.mg", "in_use.0.mg_steps")


def test_steroid_tablets_told_in_steps_from_the_first_day_ask_nothing(someone, told, on_day):
    steps = [{"starts": on_day(-5), "mg": 20}, {"starts": on_day(8), "mg": 10}]
    assert told(someone(in_use=[TABLETS | {"mg_steps": steps}])).asks() == set()


@pytest.mark.parametrize(
    "more",
    [
        {"mg_steps": [{"starts": "2026-03-10", "mg": 20}, {"starts": "2026-03-10", "mg": 10}]},
        {"until": "2026-03-05", "mg_steps": [{"starts": "2026-03-10", "mg": 20}]},
    ],
)
def test_tablet_steps_that_contradict_each_other_are_refused(someone, told, more):
    assert refused(told, someone(in_use=[TABLETS | {"mg": 30} | more])).where == "record: in_use.0"


@pytest.mark.parametrize(
    "entry",
    [
        {"medicine": "carmellose-0-5", "eye": "right", "count_a_day": 24},
        {"medicine": "carmellose-0-5", "eye": "both", "count_a_day": 18},
    ],
)
def test_more_drops_than_the_waking_day_has_hours_is_a_question_that_holds_the_drop(someone, told, entry):
    plan = told(someone(in_use=[entry]))
    assert "in-use-times-0" in plan.blocking()
    assert "in_use.0.count_a_day" in plan.question("in-use-times-0").fields
    assert {state for key, state in plan.courses().items() if "carmellose" in key} == {"held"}
    assert plan.rounds()[0][2].split()[0] == "06"  # the rest of the day is planned


# ---- the day of surgery -----------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("waking", "start", "end", "left"),
    [
        # Times of a first day of four rounds: 06 11 17 22.
        ({"rise": "06:00", "bedtime": "22:00"}, "11:00", "11:30", 2),
        # Asleep by day: the waking day of the date begins at 22:00, after the operation.
        ({"rise": "22:00", "bedtime": "14:00"}, "10:30", "11:00", 4),
        # Over midnight: 06 11 17 22 are past when the operation ends at half past midnight.
        ({"rise": "06:00", "bedtime": "22:00"}, "23:50", "00:30", 0),
    ],
)
def test_the_rounds_left_on_the_day_of_surgery_are_those_after_its_end(
    someone, told, waking, start, end, left
):
    today = {"pad": False, "drops_from_today": True, "start": start, "end": end}
    plan = told(someone(operation=today, waking=waking))
    drops = sum(b.drops for b in plan.plan.supply if b.course == "right:steroid")
    assert drops == 70 - 4 + left


# ---- answers and releases ----------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("field", "value"),
    [
        (
            "products",
            [{"role": "nsaid", "medicine": "ketorolac-0-5"}, {"role": "nsaid", "medicine": "nepafenac-0-1"}],
        ),
        ("answers", [{"caution": "nsaid.dry-eye", "decision": d} for d in ("give", "do not give")]),
        ("released", [{"course": "nsaid", "on": "2026-03-03"}, {"course": "nsaid", "on": "2026-03-05"}]),
        ("released", [{"course": "nsaid", "on": "2026-02-27"}]),
    ],
)
def test_what_stands_twice_or_before_the_operation_is_refused_by_its_field(someone, told, field, value):
    error = refused(told, someone(operation={field: value}))
    assert error.where == "record: operations.0"
    assert field in error.what


def test_an_answer_to_a_caution_that_is_none_is_told(someone, told):
    plan = told(someone(operation={"answers": [{"caution": "nsaid.asprin", "decision": "give"}]}))
    assert any("nsaid.asprin" in notice for notice in plan.plan.notices)


# ---- looks that saw nothing ---------------------------------------------------------------------------
def test_a_look_that_saw_nothing_is_no_look(someone, told, on_day):
    blind = {"date": on_day(1), "cells": "not seen", "pressure": "not done"}
    plan = told(someone(reviews=[blind]), as_of=1)
    assert plan.need("right:first-look").state == "open"
    assert plan.trip_days()[0] == 2
    late = told(someone(reviews=[blind]), as_of=4)
    assert late.windows()["right:first-look"] == (4, 4, 6)


@pytest.mark.parametrize("seen", [{"cells": "1+"}, {"pressure": 15}, {"vision": "6/12"}, {}])
def test_a_look_that_saw_one_thing_or_tells_nothing_is_believed(someone, told, on_day, seen):
    look = {"date": on_day(1), "flare": "not seen", **seen} if seen else {"date": on_day(1)}
    assert told(someone(reviews=[look]), as_of=1).need("right:first-look").state == "served"
