"""Whether a look was done whose time is over: by a button with its day, "not done", or another day."""

from __future__ import annotations

import pytest

PASSWORD = "a long enough password"
NAMES = ["looked.right:first-look", "looked.right:wound"]


@pytest.fixture
def asked(house, routine, form_of):
    """``asked()``: nobody wrote down the first two looks; the surgeon's browser, the draft that asks."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    house.clock.on(12)
    surgeon = house.log_in("surgeon")
    return surgeon, surgeon.post(f"{plan}/again").headers["location"]


def _questions(surgeon, plan):
    return {one["question"]["id"] for one in surgeon.get(f"/api{plan}").json()["asked"]}


def test_each_is_asked_with_its_own_buttons_and_no_form_of_findings(asked, form_of, words_of):
    surgeon, plan = asked
    page = surgeon.get(plan).text
    said = words_of(page)
    assert "Was this look done " in said
    assert ": first look after surgery?" in said
    assert "done on Tuesday 2 March" in said
    assert "was not done" in said
    assert "Possible answers" not in said
    form = form_of(page, f"{plan}/answers")
    assert [name for name in NAMES if form[name] == [""]] == NAMES, "nothing is chosen beforehand"
    assert not [name for name in form if name.startswith("reviews.")]


def test_done_on_its_day_and_not_done_are_both_answers(asked, form_of):
    surgeon, plan = asked
    assert {"done-right-first-look", "done-right-wound"} <= _questions(surgeon, plan)
    form = form_of(surgeon.get(plan).text, f"{plan}/answers")
    made = surgeon.post(
        f"{plan}/answers", data=form | {NAMES[0]: ["2027-03-02"], NAMES[1]: ["not done"]}
    ).headers["location"]
    assert not {"done-right-first-look", "done-right-wound"} & _questions(surgeon, made)
    needs = {need["key"]: need for need in surgeon.get(f"/api{made}").json()["body"]["needs"]}
    assert (needs["right:first-look"]["state"], needs["right:first-look"]["served_on"]) == (
        "served",
        "2027-03-02",
    )
    assert needs["right:wound"]["state"] == "open"
    assert needs["right:wound"]["earliest"] >= "2027-03-13", "it is caught up"


@pytest.mark.parametrize("day", ["2027-03-01", "2027-03-14", "sometime"])
def test_a_day_on_which_it_can_not_have_been_is_refused_and_stays_typed(asked, form_of, words_of, day):
    surgeon, plan = asked
    form = form_of(surgeon.get(plan).text, f"{plan}/answers") | {f"{NAMES[0]}.on": [day]}
    refused = surgeon.post(f"{plan}/answers", data=form)
    assert refused.status_code == 422
    assert "can't have been on this day" in words_of(refused.text)
    assert _questions(surgeon, plan) >= {"done-right-first-look"}


def test_programs_answer_by_the_days_that_are_offered_or_another(asked):
    surgeon, plan = asked
    whole = surgeon.get(f"/api{plan}").json()
    (part,) = next(
        one["fields"] for one in whole["asked"] if one["question"]["id"] == "done-right-first-look"
    )
    assert (part["name"], part["choices"]) == (NAMES[0], ["2027-03-02", "not done"])
    sent = {"seen": whole["record_number"], "answers": {f"{NAMES[0]}.on": ["2027-03-03"]}}
    made = surgeon.post(f"/api{plan}/answers", json=sent)
    assert made.status_code == 200, made.text
    needs = {need["key"]: need for need in made.json()["body"]["needs"]}
    assert needs["right:first-look"]["served_on"] == "2027-03-03"


def test_a_visit_that_was_for_more_than_the_answer_still_counts(asked, house, form_of):
    """The answer about one look of a day does not take away what the clinic saw on that day."""
    surgeon, plan = asked
    findings = form_of(surgeon.get("/patients/K-104/eyes/right").text, "/patients/K-104/eyes/right/findings")
    assert findings
    form = form_of(surgeon.get(plan).text, f"{plan}/answers") | {NAMES[1]: ["2027-03-08"]}
    made = surgeon.post(f"{plan}/answers", data=form).headers["location"]
    again = form_of(surgeon.get(made).text, f"{made}/answers") | {f"{NAMES[0]}.on": ["2027-03-08"]}
    both = surgeon.post(f"{made}/answers", data=again).headers["location"]
    needs = {need["key"]: need for need in surgeon.get(f"/api{both}").json()["body"]["needs"]}
    assert needs["right:wound"]["served_on"] == needs["right:first-look"]["served_on"] == "2027-03-08"
