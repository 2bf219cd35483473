"""The pressure table: rows, columns and what is offered. Common practice, no source, unless named."""

from __future__ import annotations

import pytest

from followup.clinical.review.choosing import accept
from followup.clinical.review.look import Look
from followup.clinical.review.pressure import row
from followup.errors import FollowupError

UVEITIC = {"uveitis": {"kind": "anterior", "last_active": "2025-06-01"}}
GLAUCOMA = {"glaucoma": True}
HEART_AND_LUNGS = ["asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure"]
# Nothing that speaks against any class of pressure drops.
OPEN = {"conditions": dict.fromkeys([*HEART_AND_LUNGS, "mao_inhibitor"], False)}


EARLY, QUIET, INFLAMED, FRAIL = ({}, 3), ({}, 10), (UVEITIC, 10), (GLAUCOMA, 10)


def test_a_quiet_eye_at_26_may_have_the_weaker_steroid_at_the_same_counts(look):
    seen = look(14, pressure=26)
    plan = seen.after("pressure-weaker")
    assert plan.course("right:steroid").last_day == seen.outcome.date
    weaker = plan.course("right:fluorometholone-0-1")
    assert [(s.count, s.days) for s in weaker.steps] == [(2, 7), (1, 7)]


def test_a_course_is_made_shorter_only_where_it_stays_long_enough(look, someone):
    routine = look(14, pressure=26)
    assert "pressure-shorter" not in routine.ids(), "28 days are the shortest routine course"
    responder = look(14, someone(eye={"steroid_responder": True, "pressure_before": 14}), pressure=27)
    assert "pressure-shorter" in responder.ids(), "a responder without cells has no shortest course"


def test_only_one_way_to_lower_the_steroid_can_be_chosen(look, someone):
    eye = {"glaucoma": True, "steroid_responder": True}
    seen = look(14, someone(eye=eye, operation={"bleeding": True}), pressure=31)
    ways = [p for p in seen.outcome.proposals if p.direction == "lower" and p.about == "pressure"]
    assert {p.id: set(p.alternative_to) for p in ways} == {
        "pressure-stop": {"pressure-weaker"},
        "pressure-weaker": {"pressure-stop"},
    }
    with pytest.raises(FollowupError, match="exclude each other"):
        accept(ways, by="Dr Sen", reason="both")


def test_a_responder_over_30_with_a_damaged_nerve_and_no_cells_stops_or_weakens(look, someone):
    eye = {"glaucoma": True, "steroid_responder": True}
    event = {"bleeding": True}
    seen = look(14, someone(eye=eye, operation=event), pressure=31)
    assert [p.id for p in seen.outcome.proposals if p.about == "pressure"] == [
        "pressure-stop",
        "pressure-weaker",
    ]
    assert all(p.today for p in seen.outcome.proposals if p.about == "pressure")
    stopped = seen.after("pressure-stop")
    assert stopped.last_steroid_day["right"] == seen.outcome.date


def test_after_the_last_drop_nothing_is_said_of_a_weaker_steroid(look):
    seen = look(35, pressure=27)
    (only,) = [p for p in seen.outcome.proposals if p.about == "pressure"]
    assert only.direction == "none"
    assert "weaker" not in only.title
    assert seen.looks(only.id) == [("pressure", 6, 7, 8)]


def test_a_rise_without_any_steroid_is_no_response(look, someone):
    none = someone(
        eye={"steroid_responder": True, "pressure_before": 12},
        operation={
            "steroid": [{"medicine": "dexamethasone-injection", "place": "chamber", "form": "solution"}],
            "choices": {"steroid_in_responder": "no drops"},
            "no_steroid_drop": {"why": "the dose inside the eye is enough", "decided_by": "Dr Osei"},
        },
    )
    assert look(14, none, pressure=30).outcome.response == ""


@pytest.mark.parametrize("found", [{"cells": "1+"}, {"macula": "oedema"}])
def test_a_prostaglandin_is_not_the_first_drop_of_an_inflamed_eye_as_seen_at_this_very_look(
    look, someone, found
):
    seen = look(10, someone(eye=GLAUCOMA, **OPEN), pressure=27, **found)
    assert "prostaglandin" not in seen.offered("pressure-unchanged")


def test_a_class_in_use_is_never_offered_again(look, someone):
    using = [{"medicine": "timolol-0-5", "eye": "both", "count_a_day": 2}]
    seen = look(10, someone(eye=GLAUCOMA, in_use=using, **OPEN), pressure=27)
    assert "beta-blocker" not in seen.offered("pressure-unchanged")
    unnamed = [{"described": "a drop with a yellow cap", "eye": "right"}]
    seen = look(10, someone(eye=GLAUCOMA, in_use=unnamed, **OPEN), pressure=27)
    assert seen.offered("pressure-unchanged") == [], "its class may be any of them"


def test_a_class_used_in_the_other_eye_alone_is_still_offered(look, someone):
    using = [{"medicine": "timolol-0-5", "eye": "left", "count_a_day": 2}]
    seen = look(10, someone(eye=GLAUCOMA, in_use=using, **OPEN), pressure=27)
    assert "beta-blocker" in seen.offered("pressure-unchanged")


def test_the_chosen_pressure_drop_joins_the_plan_from_today(look, someone):
    seen = look(10, someone(eye=GLAUCOMA, **OPEN), pressure=27)
    plan = seen.after("pressure-unchanged", offer=("dorzolamide-2", 28))
    course = plan.course("right:dorzolamide-2")
    assert course.first_day == seen.outcome.date
    assert course.count_on(seen.outcome.date) == 3
    assert any(b.course == course.key for b in plan.supply)


def test_a_pressure_that_was_not_measured_is_asked_for_and_never_normal(look):
    seen = look(7, pressure="not done")
    assert "pressure" in seen.missing()
    assert not [p for p in seen.outcome.proposals if p.about == "pressure"]


def test_the_row_of_a_look_is_none_without_a_measurement(look, protocol):
    seen = look(7, pressure="not done")
    from followup.clinical.facts.eye_rules import apply_rules
    from followup.clinical.record.eye import followed_eyes

    (context,) = followed_eyes(seen.record, seen.outcome.date)
    findings = seen.record.reviews[-1]
    told = Look(seen.record, protocol, findings, apply_rules(context, protocol), seen.after())
    assert row(told, protocol.review) is None
