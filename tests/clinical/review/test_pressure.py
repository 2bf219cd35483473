"""The pressure table: rows, columns and what is offered. Common practice, no source, unless named."""

from __future__ import annotations

import pytest

from followup.clinical.look import Look
from followup.clinical.review_pressure import column, row

UVEITIC = {"uveitis": {"kind": "anterior", "last_active": "2025-06-01"}}
GLAUCOMA = {"glaucoma": True}
HEART_AND_LUNGS = ["asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure"]
# Nothing that speaks against any class of pressure drops.
OPEN = {"conditions": dict.fromkeys([*HEART_AND_LUNGS, "mao_inhibitor"], False)}


@pytest.mark.parametrize(
    ("pressure", "name"),
    [
        (0, "low"),
        (4.9, "low"),
        (5, "low"),
        (5.1, None),
        (7.9, None),
        (8, None),
        (21.9, None),
        (22, "from-22"),
        (25.5, "from-22"),
        (25.9, "from-22"),
        (26, "from-26"),
        (30, "from-26"),
        (30.1, "over-30"),
        (31, "over-30"),
        (40, "over-30"),
        (40.1, "over-40"),
        (90, "over-40"),
    ],
)
def test_a_pressure_lies_in_one_half_open_row(protocol, pressure, name):
    rows = [r.id for r in protocol.review.pressure if r.holds(pressure) and not r.only_if]
    assert rows == ([name] if name else [])


@pytest.mark.parametrize(
    ("pressure", "found", "low"),
    [
        (5.1, {"chamber": "shallow"}, True),
        (7.9, {"leak": "slow"}, True),
        (8, {"chamber": "shallow"}, False),
        (7.9, {}, False),
        (5, {"chamber": "shallow"}, True),
    ],
)
def test_under_eight_is_low_where_the_chamber_is_shallow_or_the_wound_tears(look, pressure, found, low):
    seen = look(7, pressure=pressure, **found)
    assert any(p.id == "pressure-unchanged" for p in seen.outcome.proposals) is low
    if low:
        assert seen.looks("pressure-unchanged") == [("pressure", 1, 1, 1)]


def asked_column(seen) -> str:
    from followup.clinical.context import followed_eyes
    from followup.clinical.eye_rules import apply_rules

    (context,) = followed_eyes(seen.record, seen.outcome.date)
    rules = apply_rules(context, seen.protocol)
    findings = seen.record.reviews[-1]
    return column(Look(seen.record, seen.protocol, findings, rules, seen.after()))


@pytest.mark.parametrize(
    ("day", "eye", "cells", "name"),
    [
        (6, {}, "0", "early"),
        (6, GLAUCOMA, "2+", "early"),
        (7, {}, "0", "quiet"),
        (7, {}, "0.5+", "inflamed"),
        (7, {}, "not seen", "inflamed"),
        (7, UVEITIC, "0", "inflamed"),
        (7, UVEITIC | GLAUCOMA, "1+", "frail"),
        (7, {"damaged_nerve": True}, "0", "frail"),
        (7, {"only_seeing": True}, "0", "frail"),
        (7, {"vein_occlusion": True}, "0", "frail"),
        (28, {}, "0.5+", "inflamed"),
        (29, {}, "0.5+", "quiet"),
        (29, GLAUCOMA, "0", "frail"),
    ],
)
def test_the_rightmost_column_that_fits_wins_and_the_first_week_has_its_own(
    look, someone, day, eye, cells, name
):
    assert asked_column(look(day, someone(eye=eye), cells=cells)) == name


EARLY, QUIET, INFLAMED, FRAIL = ({}, 3), ({}, 10), (UVEITIC, 10), (GLAUCOMA, 10)


@pytest.mark.parametrize(
    ("where", "pressure", "treat", "again"),
    [
        (EARLY, 4, False, (1, 1, 1)),
        (EARLY, 22, False, (1, 1, 7)),
        (EARLY, 26, False, (1, 2, 3)),
        (EARLY, 31, True, (1, 1, 1)),
        (EARLY, 41, True, (1, 1, 1)),
        (QUIET, 4, False, (1, 1, 1)),
        (QUIET, 22, False, (6, 7, 8)),
        (QUIET, 26, False, (6, 7, 8)),
        (QUIET, 31, True, (1, 2, 3)),
        (INFLAMED, 4, False, (1, 1, 1)),
        (INFLAMED, 22, False, (6, 7, 8)),
        (INFLAMED, 26, True, (6, 7, 8)),
        (INFLAMED, 31, True, (1, 2, 3)),
        (FRAIL, 4, False, (1, 1, 1)),
        (FRAIL, 22, True, (6, 7, 8)),
        (FRAIL, 26, True, (1, 2, 3)),
        (FRAIL, 31, True, (1, 2, 3)),
    ],
)
def test_every_field_of_the_table_says_whether_to_treat_and_when_to_measure_again(
    look, someone, where, pressure, treat, again
):
    eye, day = where
    seen = look(day, someone(eye=eye, **OPEN), pressure=pressure)
    made = [p for p in seen.outcome.proposals if p.about == "pressure"]
    assert made
    for proposal in made:
        assert bool(proposal.offers) is treat
        assert seen.looks(proposal.id) == [("pressure", *again)]


@pytest.mark.parametrize("where", [EARLY, QUIET, INFLAMED, FRAIL])
@pytest.mark.parametrize(("pressure", "now"), [(40, False), (40.5, True)])
def test_over_forty_the_surgeon_sees_the_eye_today(look, someone, where, pressure, now):
    eye, day = where
    seen = look(day, someone(eye=eye), pressure=pressure)
    assert ("pressure-now" in seen.notes()) is now
    if now:
        assert all(p.today for p in seen.outcome.proposals if p.about == "pressure")


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
    seen = look(14, someone(eye={"steroid_responder": True}), pressure=27)
    ways = [p for p in seen.outcome.proposals if p.direction == "lower" and p.about == "pressure"]
    assert all(set(p.alternative_to) >= {o.id for o in ways} - {p.id} for p in ways)


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


@pytest.mark.parametrize("cells", ["0.5+", "not seen"])
def test_a_responder_with_cells_keeps_his_steroid(look, someone, cells):
    eye = {"glaucoma": True, "steroid_responder": True}
    seen = look(14, someone(eye=eye, operation={"bleeding": True}), pressure=31, cells=cells)
    assert [p.id for p in seen.outcome.proposals if p.about == "pressure"] == ["pressure-unchanged"]


def test_after_the_last_drop_nothing_is_said_of_a_weaker_steroid(look):
    seen = look(35, pressure=27)
    (only,) = [p for p in seen.outcome.proposals if p.about == "pressure"]
    assert only.direction == "none"
    assert "weaker" not in only.title
    assert seen.looks(only.id) == [("pressure", 6, 7, 8)]


@pytest.mark.parametrize(
    ("day", "pressure", "before", "named"),
    [
        # Kusne, Clin Ophthalmol 2016 (P): 21 or more and a rise of 10 or more; not before day 7 (C).
        (7, 21, 11, True),
        (7, 20.9, 10, False),
        (7, 21, 11.5, False),
        (6, 30, 11, False),
        (14, 30, None, False),
    ],
)
def test_kusne_2016_a_steroid_response_needs_21_and_a_rise_of_10(look, someone, day, pressure, before, named):
    data = someone(eye={"pressure_before": before} if before else {})
    assert look(day, data, pressure=pressure).outcome.response.startswith("Steroid response") is named


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


def test_treatment_is_offered_by_class_after_the_blocks(look, someone):
    free = look(10, someone(eye=GLAUCOMA, **OPEN), pressure=27)
    assert free.offered("pressure-unchanged") == [
        "beta-blocker",
        "carbonic anhydrase inhibitor",
        "alpha agonist",
        "prostaglandin",
    ]
    asthma = someone(eye=GLAUCOMA, conditions=OPEN["conditions"] | {"asthma": True})
    assert "beta-blocker" not in look(10, asthma, pressure=27).offered("pressure-unchanged")
    silent = look(10, someone(eye=GLAUCOMA), pressure=27)
    assert "beta-blocker" not in silent.offered("pressure-unchanged"), "not asked about is not offered"
    sulfa = someone(eye=GLAUCOMA, allergies=[{"to": "sulfonamide", "reaction": "severe"}], **OPEN)
    assert "carbonic anhydrase inhibitor" not in look(10, sulfa, pressure=27).offered("pressure-unchanged")
    mao = someone(eye=GLAUCOMA, conditions=OPEN["conditions"] | {"mao_inhibitor": True})
    assert "alpha agonist" not in look(10, mao, pressure=27).offered("pressure-unchanged")


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
    from followup.clinical.context import followed_eyes
    from followup.clinical.eye_rules import apply_rules

    (context,) = followed_eyes(seen.record, seen.outcome.date)
    findings = seen.record.reviews[-1]
    told = Look(seen.record, protocol, findings, apply_rules(context, protocol), seen.after())
    assert row(told, protocol.review) is None
