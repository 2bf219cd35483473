"""By mouth: mg a day and tablets a time, no end that nobody ordered, tablets handed over like bottles."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from medicines import USUAL

from followup.cli.plan_text import render_plan
from followup.clinical.day_plan import halves
from followup.clinical.plan.tablets import dose_words, tablets_a_time
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.record import parse_record

TABLETS = {
    "medicine": "prednisolone-5-tablet",
    "route": "mouth",
    "mg": 20,
    "count_a_day": 1,
    "ordered_by": "Dr Osei",
}
COURSE = "mouth:prednisolone-5-tablet"


def text(told, record, protocol):
    plan = told(record).plan
    return render_plan(plan, parse_record(record), protocol)


def test_a_dose_by_mouth_is_mg_a_day_and_tablets_a_time(someone, told, protocol):
    record = someone(in_use=[TABLETS])
    step = told(record).course(COURSE).steps[0]
    assert (step.mg, step.count, step.tablets) == (20, 1, 4)
    assert "20 mg a day: 4 tablets of 5 mg in the morning" in text(told, record, protocol)


def test_the_antiviral_that_a_rule_gives_has_its_dose_too(someone, told, protocol):
    herpes = {"herpetic_keratitis": {"active_epithelial_disease": False, "antiviral_cover": True}}
    record = someone(eye=herpes)
    step = told(record).course("mouth:antiviral").steps[0]
    assert (step.mg, step.count, step.tablets) == (800, 2, 1)
    assert "800 mg a day: 1 tablet of 400 mg 2 times a day" in text(told, record, protocol)


def test_a_tablets_strength_never_stands_where_a_dose_belongs(someone, told, protocol):
    made = text(told, someone(in_use=[TABLETS]), protocol)
    assert "Prednisolone 5 mg" in made
    assert made.count("Prednisolone 5 mg") == made.count("Prednisolone 5 mg tablets")
    assert "mg each" not in made


def test_tablets_without_an_ordered_end_have_no_last_day(someone, told, protocol, on_day):
    record = someone(in_use=[TABLETS])
    assert told(record).course(COURSE).goes_on
    part = text(told, record, protocol).split("by mouth, steroid tablet")[1].split("because")[0]
    assert "no last day is ordered" in part
    assert "last day Mon" not in part
    ends = someone(in_use=[TABLETS | {"until": on_day(20)}])
    assert not told(ends).course(COURSE).goes_on
    assert "last day" in text(told, ends, protocol).split("by mouth, steroid tablet")[1].split("because")[0]


def test_the_plan_says_never_to_stop_steroid_tablets_suddenly(someone, told):
    plan = told(someone(in_use=[TABLETS]))
    assert plan.cautions()["steroid-tablet.never-suddenly"] == "warn"
    assert "steroid-tablet.never-suddenly" not in told(someone()).cautions()


@pytest.mark.parametrize(
    "dose",
    [
        {"mg": 7},
        {"mg": 20, "count_a_day": 3},
        {"mg_steps": [{"starts": "2026-03-20", "mg": 6}]},
        {"medicine": "acetazolamide-250-capsule", "mg": 375},
    ],
)
def test_a_dose_that_is_no_whole_or_half_tablet_is_asked_for_in_one_line(someone, told, dose):
    plan = told(someone(in_use=[TABLETS | dose]))
    asked = plan.question("in-use-dose-0")
    assert asked.blocks
    assert "\n" not in asked.text
    assert "can't be made of" in asked.text
    assert "in_use.0.mg" in asked.fields


@pytest.mark.parametrize(("mg", "figure"), [(2.5, "½"), (7.5, "1½"), (5, "1"), (60, "12")])
def test_half_tablets_are_said_in_figures(someone, told, mg, figure):
    plan = told(someone(in_use=[TABLETS | {"mg": mg}]))
    assert "in-use-dose-0" not in plan.asks()
    assert plan.course(COURSE).steps[0].tablets_figure == figure


def test_every_tablet_in_use_without_its_mg_is_asked_about(someone, told):
    entry = {"medicine": "acetazolamide-250-tablet", "route": "mouth", "count_a_day": 2}
    assert "in-use-mg-0" in told(someone(in_use=[entry])).blocking()


def test_tablets_are_handed_over_at_visits_and_last_over_a_missed_one(someone, told):
    plan = told(someone(in_use=[TABLETS]))
    supply = [b for b in plan.plan.supply if b.course == COURSE]
    course = plan.course(COURSE)
    assert sum(b.units for b in supply) == 4 * sum(s.days for s in course.steps)
    assert supply[0].handed_over_trip is None
    for one, after in pairwise(supply):
        assert after.opened == one.discard + timedelta(days=1)
    for bottle in supply[:-1]:
        later = [t for t in plan.plan.trips if t.date > bottle.handed_over]
        if len(later) > 1:
            assert bottle.discard >= later[1].date


def medicine(mg: float, form: str = "tablet") -> Medicine:
    return Medicine.model_validate(
        {
            "id": "made-up",
            "name": "Made up",
            "strength": f"{mg:g} mg",
            "form": form,
            "role": "other",
            "route": "mouth",
            "kinds": ["corticosteroid"],
            "substances": ["made-up"],
            "tablet_mg": mg,
            **USUAL,
            "source": "made up for the test",
            "mark": "C",
        }
    )


@given(halved=st.integers(1, 40), count=st.integers(1, 6), mg=st.sampled_from((0.5, 1, 2.5, 5, 20, 250, 400)))
def test_whatever_whole_and_half_tablets_make_is_found_again(halved, count, mg):
    assert tablets_a_time(halved / 2 * count * mg, count, medicine(mg)) == halved / 2
    capsules = tablets_a_time(halved / 2 * count * mg, count, medicine(mg, "capsule"))
    assert capsules == (halved / 2 if halved % 2 == 0 else None)


def test_figures_of_halves():
    assert [halves(n) for n in (0.5, 1, 1.5, 12)] == ["½", "1", "1½", "12"]


@pytest.mark.parametrize(
    ("times", "when"),
    [(("06:00",), "in the morning"), (("14:00",), "in the afternoon"), (("22:00",), "in the evening")],
)
def test_one_time_a_day_is_told_by_its_part_of_the_day(someone, told, protocol, times, when):
    step = told(someone(in_use=[TABLETS])).course(COURSE).steps[0]
    assert dose_words(step, protocol.formulary["prednisolone-5-tablet"], times).endswith(when)
