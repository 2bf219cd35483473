"""A reason says what in this record decided, as it holds, and never the opposite."""

from __future__ import annotations

from importlib.resources import files
from typing import get_args

import pytest

from followup.cli.plan_text import render_plan
from followup.clinical.facts.derive import Facts
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Operation, parse_record
from followup.clinical.record.eye import followed_eyes
from followup.clinical.words.why_reasons import here_words, reason_words

PROTOCOL = load_protocol()
DATA = files("followup.clinical") / "data"
FALSE_TESTED = [fact for fact in PROTOCOL.facts if fact.is_ == (False,)]


def _record(**parts):
    operation = {
        "eye": "right",
        "eye_drawn": "right",
        "date": "2026-03-02",
        "procedure": "phacoemulsification",
    }
    who = {"code": "P-1", "name": "Invented Person", "birth_date": "1950-05-05"}
    given = {
        "patient": who | parts.get("patient", {}),
        "operations": [operation | parts.get("operation", {})],
    }
    return parse_record(given | {k: v for k, v in parts.items() if k not in ("patient", "operation")})


def _facts(record):
    (eye,) = followed_eyes(record, record.last_operation_day)
    return Facts(eye, PROTOCOL.facts_of_eyes)


def _with(path, value):
    root, *names = path.split(".")
    inner = {names[-1]: value} | ({"who": "relative"} if names[0] == "drops_by" else {})
    for name in reversed(names[:-1]):
        inner = {name: inner}
    if root in ("eye", "other_eye"):
        side = "right" if root == "eye" else "left"
        return _record(patient={"eyes": {side: inner}})
    return _record(**{root: inner})


@pytest.mark.parametrize("definition", FALSE_TESTED, ids=lambda fact: fact.name)
@pytest.mark.parametrize("value", [True, False])
def test_a_fact_whose_test_is_false_says_what_holds_and_not_the_field(definition, value):
    """A leaking wound once read "the wound was not watertight: no"."""
    fact = _facts(_with(definition.field, value))[definition.name]
    assert fact.value is (value is False)
    assert fact.told.words == ("yes" if fact.value else "no")
    assert (fact.told.holds == definition.about) is fact.value
    assert not fact.told.holds.endswith((": no", ": yes"))


def test_a_leaking_wound_is_told_as_one():
    fact = _facts(_record(operation={"watertight": False}))["leaking_wound"]
    assert (fact.use().holds, fact.use().value) == ("the wound was not watertight at the end", "yes")


def test_there_are_such_facts_to_test():
    assert len(FALSE_TESTED) >= 5


def test_a_uveitis_is_told_by_its_last_active_day_and_the_days_since(told):
    record = _record(patient={"eyes": {"right": {"uveitis": {"last_active": "2026-02-09"}}}})
    plan = told(record.model_dump(mode="json", exclude_none=True)).plan
    said = " ".join(here_words(reason) for reason in plan.course("right:steroid").reasons)
    assert "active on 9 February 2026, 21 days before surgery" in said
    assert "recorded" not in said


def test_what_fired_by_absence_says_what_was_looked_for(told):
    plan = told(_record().model_dump(mode="json", exclude_none=True)).plan
    said = " ".join(here_words(reason) for reason in plan.course("right:steroid").reasons)
    assert "no steroid depot" in said
    assert "no quiet eye" in said
    assert "no event at surgery" in said


def test_an_earlier_first_look_says_against_what_and_because_of_what(told):
    plan = told(_record(operation={"cornea_touched": True}).model_dump(mode="json", exclude_none=True)).plan
    need = next(need for need in plan.needs if need.kind == "first-look")
    said = " ".join(part for reason in need.reasons for part in reason_words(reason))
    assert "First look on day 1, not as late as day 2" in said
    assert "the cornea was touched" in said


def test_a_limit_between_checks_is_one_sentence_with_the_last_check(told):
    record = _record(trips=[{"date": "2026-03-09", "status": "fulfilled"}])
    data = record.model_dump(mode="json", exclude_none=True)
    plan = told(data, as_of=8).plan
    text = " ".join(render_plan(plan, record, PROTOCOL).split())
    assert "Pressure check: no more than 28 days on steroid without one (last on 9 March 2026)." in text


def test_a_plan_stored_before_facts_told_themselves_opens_and_gives_its_reasons(told):
    plan = told(_record(operation={"watertight": False}).model_dump(mode="json", exclude_none=True)).plan
    stored = plan.model_dump(mode="json")
    for line in stored["courses"] + stored["needs"] + stored["questions"]:
        for reason in line["reasons"]:
            for fact in reason["facts"]:
                del fact["holds"]
    old = type(plan).model_validate(stored)
    for course in old.courses:
        for reason in course.reasons:
            assert here_words(reason) == ""
            assert reason_words(reason)[0]


def test_one_word_stands_for_a_pressure_risk_everywhere():
    words = " ".join(path.read_text("utf-8") for path in DATA.iterdir() if path.name.endswith(".toml"))
    assert "middling" not in words


def test_the_first_drop_day_says_of_a_pad_that_it_is_there_and_nothing_of_the_antibiotic(told):
    (reason,) = told(_record(operation={"pad": True})).plan.first_drop_days[0].reasons
    assert here_words(reason) == (
        "In this record: the eye is under a pad or shield; drops today are not asked for."
    )


@pytest.mark.parametrize(
    ("lens", "words"),
    [
        ("sulcus", "the lens sits in the sulcus"),
        ("front chamber", "the lens sits in the front chamber"),
        ("iris", "the lens is fixed to the iris or the sclera"),
        ("sclera", "the lens is fixed to the iris or the sclera"),
        ("none", "no lens was put in"),
    ],
)
def test_a_lens_outside_the_bag_is_told_by_where_it_sits(told, lens, words):
    plan = told(_record(operation={"lens": lens})).plan
    said = " ".join(here_words(reason) for need in plan.needs for reason in need.reasons)
    assert words in said
    assert "written down; not so" not in said


def test_every_place_of_a_lens_but_the_bag_and_none_written_down_is_outside_the_bag():
    places = {p for p in get_args(Operation.model_fields["lens"].annotation) for p in get_args(p)}
    outside = {p for p in places if _lens_outside(p)}
    assert outside == places - {"bag"}
    assert not _lens_outside(None)


def _lens_outside(place):
    return _facts(_record(operation={"lens": place}))["lens_not_in_bag"].value
