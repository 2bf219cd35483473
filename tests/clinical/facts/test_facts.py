"""Facts: what the record says, what it does not say, and which side counts then."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from followup.clinical.facts.derive import Fact, Facts, FactTold, _combine, truth
from followup.clinical.protocol.facts import FactDef
from followup.clinical.record import parse_record
from followup.clinical.record.eye import EyeContext, followed_eyes, known_path


@pytest.fixture
def facts(protocol, someone):
    """The facts of a record's newest operation, told in a person's words."""

    def derive(as_of=0, **parts):
        record = parse_record(someone(**parts))
        day = record.last_operation_day + timedelta(days=as_of)
        return Facts(followed_eyes(record, day)[-1], protocol.facts_of_eyes)

    return derive


def test_what_is_not_written_down_is_neither_yes_nor_no(facts):
    silent = facts(operation={"chamber": None, "antibiotic_in_chamber": None})
    assert silent["chamber_shallow"].value is None
    assert silent["antibiotic_in_chamber"].value is None
    assert silent["chamber_shallow"].told.words == "not recorded"


def test_an_event_that_is_not_written_down_did_not_happen(facts):
    assert facts()["event"].value is False
    assert facts(operation={"capsule_torn": True})["event"].value is True


def test_silence_that_is_itself_the_danger_counts_as_danger(facts):
    silent = facts(operation={"chamber": None, "viscoelastic": {}})
    assert silent["angle_at_risk"].value is True
    assert silent["viscoelastic_doubtful"].value is True
    assert silent["viscoelastic_doubtful"].told.words == "not recorded, so counted as yes"


def test_a_fact_names_the_fields_it_came_from(facts):
    found = facts(operation={"capsule_torn": True}, eye={"uveitis": {"last_active": "2025-01-01"}})
    assert found["capsule_torn"].told.fields == ("operations.0.capsule_torn",)
    assert found["event"].told.fields == ("operations.0.capsule_torn",)
    assert set(found["quiet_90"].told.fields) == {
        "patient.eyes.right.uveitis.last_active",
        "operations.0.date",
    }


def test_the_other_eyes_response_makes_this_eye_a_responder(facts):
    assert facts(other_eye={"steroid_responder": True})["responder"].value is True
    assert facts(other_eye={"after_earlier_operation": {"pressure_rise_on_steroid": True}})["responder"].value
    assert facts(other_eye={"glaucoma": True})["glaucomatous"].value is False


@pytest.mark.parametrize(
    ("born", "under_50", "under_65"),
    [
        ({"birth_date": "1976-03-02"}, False, True),
        ({"birth_date": "1976-03-03"}, True, True),
        ({"birth_date": "1961-03-02"}, False, False),
        ({"birth_date": "1961-03-03"}, False, True),
        # Only the year: the riskier side counts, so perhaps 49 counts as 49.
        ({"birth_date": None, "birth_year": 1976}, True, True),
        ({"birth_date": None, "birth_year": 1975}, False, True),
        ({"birth_date": None, "birth_year": 1961}, False, True),
        ({"birth_date": None, "birth_year": 1960}, False, False),
    ],
)
def test_the_riskier_age_counts_where_only_the_year_is_known(facts, born, under_50, under_65):
    found = facts(**born)
    assert (found["under_50"].value, found["under_65"].value) == (under_50, under_65)


@pytest.mark.parametrize(
    ("born", "child", "unclear"),
    [
        ({"birth_date": "2008-03-02"}, False, False),
        ({"birth_date": "2008-03-03"}, True, False),
        ({"birth_date": None, "birth_year": 2008}, False, True),
        ({"birth_date": None, "birth_year": 2007}, False, False),
        ({"birth_date": None, "birth_year": 2009}, True, False),
    ],
)
def test_at_seventeen_or_eighteen_the_year_alone_is_not_enough(facts, born, child, unclear):
    found = facts(**born)
    assert (found["child"].value, found["age_unclear_at_18"].value) == (child, unclear)


@pytest.mark.parametrize(
    ("days", "quiet_30", "quiet_90"),
    [(29, False, False), (30, True, False), (89, True, False), (90, True, True)],
)
def test_quiet_days_are_counted_to_the_day_of_surgery(facts, on_day, days, quiet_30, quiet_90):
    found = facts(eye={"uveitis": {"last_active": on_day(-days)}})
    assert (found["quiet_30"].value, found["quiet_90"].value) == (quiet_30, quiet_90)


def test_uveitis_without_a_last_day_is_of_unknown_quiet(facts):
    assert facts(eye={"uveitis": {}})["quiet_90"].value is None
    assert (
        facts(eye={"uveitis": {"never_quiet": True, "last_active": "2020-01-01"}})["quiet_90"].value is None
    )


@pytest.mark.parametrize(
    ("start", "end", "over"),
    [
        ("09:00", "09:45", False),
        ("09:00", "09:46", True),
        ("23:50", "00:30", False),
        ("23:30", "00:30", True),
    ],
)
def test_surgery_over_45_minutes_is_an_event_also_across_midnight(facts, start, end, over):
    found = facts(operation={"start": start, "end": end})
    assert found["over_45_minutes"].value is over
    assert found["event"].value is over


@pytest.mark.parametrize("words", ["sulphur", "Sulfur tablets", "a SULPHUR drug"])
def test_sulphur_in_free_text_is_noticed_and_never_guessed(facts, words):
    found = facts(allergy_text=words)
    assert found["sulphur_in_words"].value is True
    assert found["sulfonamide_allergy"].value is False


def test_a_review_after_the_as_of_day_is_not_looked_at(facts, on_day):
    later = [{"date": on_day(3), "chamber": "flat"}]
    assert facts(as_of=2, reviews=later)["flat_chamber_at_look"].value is False
    assert facts(as_of=3, reviews=later)["flat_chamber_at_look"].value is True


def test_the_last_look_counts_and_not_seen_is_no_look(facts, on_day):
    looks = [
        {"date": on_day(1), "blood": "level"},
        {"date": on_day(2), "blood": "none"},
        {"date": on_day(3), "blood": "not seen"},
    ]
    assert facts(as_of=3, reviews=looks)["no_blood_at_look"].value is True
    assert facts(as_of=1, reviews=looks)["no_blood_at_look"].value is False


def test_a_steroid_half_described_is_unknown_and_not_no(facts):
    given = {"medicine": "triamcinolone-injection", "place": "chamber", "fate": "left"}
    assert facts(operation={"steroid": [given]})["depot_left"].value is None
    assert facts(operation={"steroid": [given | {"form": "crystals"}]})["depot_left"].value is True
    assert facts(operation={"steroid": [given | {"form": "solution"}]})["depot_left"].value is False


THREE = st.sampled_from([True, False, None])


@given(THREE, THREE)
def test_any_of_and_all_of_are_three_valued_and_opposites_of_each_other(one, two):
    given_facts = {
        name: Fact(name, value, lambda: FactTold("", ())) for name, value in (("a", one), ("b", two))
    }
    found = _combined(given_facts, any_of=("a", "b"))
    opposite = _combined(given_facts, all_of=("not a", "not b"))
    assert found.value is (True if True in (one, two) else None if None in (one, two) else False)
    assert opposite.value is (None if found.value is None else not found.value)


def _fact(name, value):
    return Fact(name, value, lambda: FactTold("", ()))


def _combined(known, **test):
    return _combine(FactDef(name="both", about="both", **test), known)


@pytest.mark.parametrize(("value", "opposite"), [(True, False), (False, True), (None, None)])
def test_the_opposite_of_not_recorded_is_not_recorded(value, opposite):
    known = {"a": _fact("a", value)}
    assert truth("a", known) is value
    assert truth("not a", known) is opposite


@pytest.mark.parametrize(
    "wrong",
    [
        {"field": "operation.cut_mm", "at_least": 5},
        {"field": "operation.cut_mm"},
        {"field": "operation.cut_mm", "is": [1], "present": True},
        {"field": "operation.cut_mm", "any_of": ["x"]},
        {"any_of": ["x"], "is": [True]},
        {},
    ],
)
def test_a_fact_is_one_test_and_a_number_has_a_source(wrong):
    with pytest.raises(ValidationError):
        FactDef.model_validate({"name": "x", "about": "x", **wrong})


@pytest.mark.parametrize(
    ("path", "known"),
    [
        ("eye.uveitis.last_active", True),
        ("operation.viscoelastic.removed", True),
        ("operation.choices.nsaid", True),
        ("other_eye.after_earlier_operation.rebound", True),
        ("derived.quiet_days", True),
        ("reviews.cells", True),
        ("operation.cut", False),
        ("eye.uveitis.last_active.year", False),
        ("derived.mood", False),
        ("nobody.cut_mm", False),
        ("reviews.mood", False),
    ],
)
def test_a_path_leads_into_the_record_or_not(path, known):
    assert known_path(path) is known


def test_a_second_operation_on_one_eye_stands_for_the_first(someone, on_day):
    record = parse_record(someone(more_operations=[{"date": on_day(20), "lens": "none"}]))
    day = record.first_day
    assert [c.operation.lens for c in followed_eyes(record, day)] == ["bag"]
    assert [c.operation.lens for c in followed_eyes(record, day + timedelta(days=20))] == ["none"]
    assert followed_eyes(record, day - timedelta(days=1)) == ()
    assert isinstance(followed_eyes(record, day)[0], EyeContext)
