"""What only a surgeon decides: typed in by surgeons alone, told to everybody else on the record's form."""

from __future__ import annotations

import re

import pytest

DECIDED = ("choices", "products", "no_steroid_drop", "answers", "released")
RECORD = "/patients/K-104/record"
NO_STEROID = {"why": "a depot acts inside the eye", "decided_by": "Dr Sen"}
WHY = "watched for an hour"
LATER = {"need": "right:first-look", "day": "2027-03-03", "why": "no pain, lives nearby", "by": "Dr Sen"}


def _decided(names) -> set[str]:
    """The parts of a form's fields that only a surgeon decides."""
    parts = {name.split(".")[2] for name in names if name.startswith("operations.")}
    heads = {"decisions"} if any(name.startswith("decisions.") for name in names) else set()
    return parts & set(DECIDED) | heads


def _shown(page: str) -> list[str]:
    """The names of every control that can be filled in."""
    controls = re.findall(r"<(?:input|select|textarea|button)\b[^>]*>", page)
    named = ((re.search(r'\b(?:name="add" value|name)="([^"]*)"', c), c) for c in controls)
    return [name[1] for name, control in named if name and 'type="hidden"' not in control]


def test_an_empty_form_asks_nobody_but_the_surgeon_for_what_only_a_surgeon_decides(house):
    shown = {who: _shown(house.log_in(who).get("/operations/new").text) for who in ("counsellor", "surgeon")}
    only = set(shown["surgeon"]) - set(shown["counsellor"])
    assert set(shown["counsellor"]) < set(shown["surgeon"])
    assert _decided(shown["counsellor"]) == set()
    assert {
        name.split(".")[2] if name.startswith("operations.") else name.split(".")[0] for name in only
    } == {
        *DECIDED,
        "decisions",
    }


@pytest.fixture
def decided(house, routine, form_of):
    """A record in which the surgeon has decided all there is to decide but the products."""
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine
    assert counsellor.post("/operations/new", data=form).status_code == 303
    form = form_of(house.log_in("surgeon").get(RECORD).text)
    form |= {f"operations.0.no_steroid_drop.{name}": [said] for name, said in NO_STEROID.items()}
    form |= {f"decisions.0.{name}": [said] for name, said in LATER.items()}
    answer = {"caution": "nsaid.numb-cornea", "course": "right:nsaid", "decision": "give", "why": WHY}
    form |= {f"operations.0.answers.0.{name}": [said] for name, said in answer.items()}
    stored = house.log_in("surgeon").post(RECORD, data=form)
    assert stored.status_code == 303, stored.text
    return counsellor


def test_what_a_surgeon_decided_is_told_to_the_counsellor_in_words_and_stays_when_she_saves(
    house, decided, form_of, words_of
):
    page = decided.get(RECORD).text
    assert _decided(_shown(page)) == set()
    said = words_of(page)
    for words in (*NO_STEROID.values(), WHY, LATER["day"], LATER["why"]):
        assert words in said, f"the counsellor is not told: {words}"
    before = house.log_in("surgeon").get("/api/patients/K-104/record").json()["record"]
    form = form_of(page) | {"patient.conditions.diabetes": ["without retinopathy"]}
    assert decided.post(RECORD, data=form).status_code == 303
    after = house.log_in("surgeon").get("/api/patients/K-104/record").json()["record"]
    assert after["patient"]["conditions"]["diabetes"] == "without retinopathy"
    assert (after["operations"], after["decisions"]) == (before["operations"], before["decisions"])
    assert before["operations"][0]["no_steroid_drop"] == NO_STEROID


def test_what_is_sent_past_the_form_is_refused_and_nothing_is_stored(house, decided, form_of, words_of):
    form = form_of(decided.get(RECORD).text)
    taken_out = {name: given for name, given in form.items() if "no_steroid_drop" not in name}
    answer = decided.post(RECORD, data=taken_out)
    assert (answer.status_code, "only a surgeon decides this" in words_of(answer.text)) == (422, True)
    record = house.log_in("surgeon").get("/api/patients/K-104/record").json()["record"]
    assert record["operations"][0]["no_steroid_drop"] == NO_STEROID
