"""Two counsellors at one record: the second is told what changed and loses neither's typing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.care.fields.checked import place_of
from followup.care.fields.values import fill_form
from followup.desks.forms.merge import merge
from followup.records.people.patients import newest_record, patient_by_code

RECORD = "/patients/K-104/record"
SURGEON, NAME = "operations.0.surgeon", "patient.name"


@pytest.fixture
def entered(house, routine, form_of):
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    assert browser.post("/operations/new", data=form).status_code == 303
    return house


def _stored(house) -> dict[str, list[str]]:
    with house.store.read() as session:
        record = newest_record(session, patient_by_code(session, "K-104").id).record
    return fill_form(record.model_dump(mode="json", exclude_none=True))


def _two(house, form_of):
    browsers = house.log_in("counsellor"), house.log_in("counsellor")
    return [(browser, form_of(browser.get(RECORD).text)) for browser in browsers]


def test_both_changes_are_in_the_record_in_the_end(entered, form_of, words_of):
    (first, one), (second, two) = _two(entered, form_of)
    assert first.post(RECORD, data=one | {NAME: ["Wanjiru Otieno"]}).status_code == 303
    told = second.post(RECORD, data=two | {SURGEON: ["Dr Rao"]})
    assert told.status_code == 409
    assert "Name: Wanjiru Ndegwa → Wanjiru Otieno · it stands in the form below" in words_of(told.text)
    assert second.post(RECORD, data=form_of(told.text)).status_code == 303
    assert (_stored(entered)[NAME], _stored(entered)[SURGEON]) == (["Wanjiru Otieno"], ["Dr Rao"])


def test_where_both_changed_one_answer_the_typing_stays_and_both_are_shown(entered, form_of, words_of):
    (first, one), (second, two) = _two(entered, form_of)
    first.post(RECORD, data=one | {SURGEON: ["Dr Sen"]})
    told = second.post(RECORD, data=two | {SURGEON: ["Dr Rao"]})
    assert "not recorded → Dr Sen · the form below keeps what you typed" in words_of(told.text)
    assert form_of(told.text)[SURGEON] == ["Dr Rao"]


@pytest.mark.parametrize(
    "extra", [{"look": ["yes"]}, {"add": ["patient.telephones"]}, {"patient.birth_year": ["x"]}]
)
def test_a_look_or_a_slip_in_between_hides_nobodys_change(entered, form_of, words_of, extra):
    (first, one), (second, two) = _two(entered, form_of)
    first.post(RECORD, data=one | {NAME: ["Wanjiru Otieno"]})
    page = second.post(RECORD, data=two | extra)
    again = form_of(page.text) | {"patient.birth_year": ["1955"]}
    told = second.post(RECORD, data=again)
    assert told.status_code == 409
    assert "Wanjiru Ndegwa → Wanjiru Otieno" in words_of(told.text)


_ANSWERS = st.dictionaries(
    st.sampled_from([NAME, "patient.code", "patient.sex", "patient.birth_year"]),
    st.lists(st.sampled_from(["a", "b"]), min_size=1, max_size=1),
)


@given(_ANSWERS, _ANSWERS, _ANSWERS)
def test_a_merge_loses_no_change_of_either_side(base, theirs, mine):
    merged, changed = merge(base, theirs, mine, place_of)
    for name in {*base, *theirs, *mine}:
        was, now, typed, got = (form.get(name, []) for form in (base, theirs, mine, merged))
        assert got == (typed if typed != was else now)
    assert len(changed) == sum(base.get(n, []) != theirs.get(n, []) for n in {*base, *theirs})


def test_a_list_that_both_lengthened_stays_as_typed():
    base = {"patient.telephones.0.number": ["1"]}
    theirs, mine = (
        base | {"patient.telephones.1.number": ["2"]},
        base | {"patient.telephones.1.number": ["3"]},
    )
    merged, (changed,) = merge(base, theirs, mine, place_of)
    assert merged == mine
    assert (changed.was, changed.now, changed.kept) == ("", "2", True)


def test_a_row_taken_out_of_a_list_and_another_corrected_never_mix():
    """The second number's owner was corrected here, the first number was taken out there."""
    base = {"patient.telephones.0.number": ["1"], "patient.telephones.1.number": ["2"]}
    theirs = {"patient.telephones.0.number": ["2"]}
    mine = base | {"patient.telephones.1.whose": ["carer"]}
    merged, changed = merge(base, theirs, mine, place_of)
    assert merged == mine
    assert [one.kept for one in changed] == [True, True]
    # Whoever left the list alone gets what the other made of it.
    assert merge(base, theirs, base, place_of)[0] == theirs
    assert merge(base, base, mine, place_of) == (mine, ())
