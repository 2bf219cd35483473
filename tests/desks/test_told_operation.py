"""A told operation on the record's page: read at one press, asked, kept with the record, shown beside it."""

from __future__ import annotations

import json

import pytest
from sqlalchemy import text

from followup.records.people.patients import newest_record, patient_by_code
from followup.records.people.tellings import tellings_of

TOLD = "Phaco. Tunnel 2.2 mm.\nCapsule possibly torn, vitreous loss. <b>Sunny</b> day."
TORN = "operations.0.capsule_torn"
CUT = "operations.0.cut_mm"


@pytest.fixture
def counsellor(house):
    house.sign_protocol()
    return house.log_in("counsellor")


@pytest.fixture
def fresh(counsellor, routine, form_of):
    """The form of a new operation with what a counsellor types."""
    return form_of(counsellor.get("/operations/new").text) | routine


def _read(counsellor, form, told, form_of, address="/operations/new"):
    answer = counsellor.post(address, data=form | {"told.text": [told], "read": ["yes"]})
    return answer, form_of(answer.text)


def _stored(house, code="K-104"):
    with house.store.read() as session:
        who = patient_by_code(session, code)
        if who is None:
            return None
        return newest_record(session, who.id).record, [one.text for one in tellings_of(session, who.id)]


def _rows(house):
    with house.store.read() as session:
        tables = ("journal", "patient", "record_version", "telling", "care_plan")
        return [session.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() for table in tables]


def test_from_the_text_to_the_stored_record(house, counsellor, fresh, form_of, words_of):
    before = _rows(house)
    answer, form = _read(counsellor, fresh, TOLD, form_of)
    assert answer.status_code == 200
    assert (form[CUT], form["operations.0.vitreous_lost"]) == (["2.2"], ["yes"])
    assert form[TORN] == [""], "doubtful: nothing is chosen"
    assert form["operations.0.vitrectomy"] == [""], "nothing routine about the vitreous any more"
    assert form["operations.0.pad"] == ["yes"]
    said = words_of(answer.text)
    assert "Capsule torn Capsule possibly torn It was told as not certain. What holds?" in said
    assert "routine, not told" in said

    refused = counsellor.post("/operations/new", data=form)
    assert refused.status_code == 422
    assert "answer each of them" in words_of(refused.text)
    again = form_of(refused.text)
    assert {name: again.get(name) for name in form} == form, "nothing is lost"
    assert _rows(house) == before

    stored = counsellor.post("/operations/new", data=again | {f"asked:{TORN}": ['["yes"]']})
    assert stored.status_code == 303
    record, kept = _stored(house)
    operation = record.operations[0]
    assert (operation.cut_mm, operation.capsule_torn, operation.vitreous_lost) == (2.2, True, True)
    assert operation.vitrectomy is None
    assert kept == [TOLD]

    page = counsellor.get("/patients/K-104/record").text
    assert "<b>Sunny" not in page
    assert "Tunnel 2.2 mm.\nCapsule possibly torn, vitreous loss. &lt;b&gt;Sunny&lt;/b&gt; day." in page
    assert form_of(page)["told.text"] == [""], "kept, not told once more"
    corrected = form_of(page) | {"patient.name": ["Wanjiru Kamau"]}
    assert counsellor.post("/patients/K-104/record", data=corrected).status_code == 303
    assert _stored(house)[1] == [TOLD]
    assert "Capsule possibly torn" in counsellor.get("/patients/K-104/record").text


def test_not_recorded_is_an_answer_and_what_is_typed_in_the_field_is_another(
    house, counsellor, fresh, form_of
):
    for code, more, torn in (
        ("K-1", {f"asked:{TORN}": ["[]"]}, None),
        ("K-2", {TORN: ["no"]}, False),
        ("K-3", {f"asked:{TORN}": ['["no"]'], TORN: ["yes"]}, True),
    ):
        _, form = _read(counsellor, fresh | {"patient.code": [code]}, TOLD, form_of)
        assert counsellor.post("/operations/new", data=form | more).status_code == 303, code
        record, kept = _stored(house, code)
        assert (record.operations[0].capsule_torn, kept) == (torn, [TOLD])


def test_what_was_typed_otherwise_stays_and_is_asked(house, counsellor, fresh, form_of, words_of):
    answer, form = _read(counsellor, fresh | {CUT: ["2.8"]}, "Phaco. Tunnel 2.2 mm.", form_of)
    assert form[CUT] == ["2.8"]
    assert "You typed something else than was told." in words_of(answer.text)
    assert counsellor.post("/operations/new", data=form).status_code == 422
    assert counsellor.post("/operations/new", data=form | {f"asked:{CUT}": ['["2.2"]']}).status_code == 303
    assert _stored(house)[0].operations[0].cut_mm == 2.2


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("", "nothing was told"),
        ("  \n ", "nothing was told"),
        ("Phaco.\x07 Tunnel 2.2 mm.", "control character"),
        ("Tunnel 2.2 mm. " * 66_000, "too long for one operation"),
        ("Tunnel 2.2 mm. " * 80_000, "too long for one operation"),
    ],
)
def test_a_text_that_is_no_telling_is_refused_in_one_line_at_its_box(
    house, counsellor, fresh, form_of, words_of, told, said
):
    typed = fresh | {CUT: ["2.8"], "operations.0.free_text": ["a word"]}
    answer, form = _read(counsellor, typed, told, form_of)
    assert answer.status_code == 422
    line = answer.text.partition('id="told-wrong">')[2].partition("</p>")[0]
    assert said in line
    assert "\n" not in line
    assert form.pop("told.text") == [told]
    for name, values in typed.items():
        if any(values) and name not in ("told.text", "patient.drops_by", "seen"):
            assert form.get(name) == values, name
    # Saving it all the same stores nothing either.
    if told.strip():
        assert counsellor.post("/operations/new", data=typed | {"told.text": [told]}).status_code == 422
        assert _stored(house) is None


def test_the_eye_is_typed_and_pointed_at_before_anything_is_read(counsellor, fresh, form_of, words_of):
    for eyes in ({"operations.0.eye": []}, {"operations.0.eye_drawn": []}, {"operations.0.eye": ["left"]}):
        answer, form = _read(counsellor, fresh | eyes, TOLD, form_of)
        assert answer.status_code == 422
        assert "say first which eye was operated on" in words_of(answer.text)
        assert (form["told.text"], form.get(CUT)) == ([TOLD], [""])


def test_a_text_that_says_the_other_eye_fills_in_nothing(house, counsellor, fresh, form_of):
    _, read = _read(counsellor, fresh, "Phaco. Tunnel 2.2 mm.", form_of)
    for before in (fresh, read):
        answer, form = _read(counsellor, before, "Left eye phaco. Tunnel 2.4 mm.", form_of)
        assert answer.status_code == 422
        assert "the telling says the left eye, but the right eye was entered" in answer.text
        assert (form[CUT], form["operations.0.eye"]) == ([""], ["right"])
        assert counsellor.post("/operations/new", data=form).status_code == 422
    assert _stored(house) is None


def test_a_zero_byte_in_what_was_told_is_said_beside_it(house, counsellor, fresh, form_of):
    answer, form = _read(counsellor, fresh, "Phaco.\0 Tunnel 2.2 mm.", form_of)
    assert answer.status_code == 422
    assert "the telling holds a control character; paste it as plain text" in answer.text
    assert form[CUT] == [""]
    assert _stored(house) is None


def test_a_text_that_was_changed_or_never_read_is_read_before_it_is_stored(house, counsellor, fresh, form_of):
    never = counsellor.post("/operations/new", data=fresh | {"told.text": ["Phaco. Tunnel 2.2 mm."]})
    assert never.status_code == 422
    form = form_of(never.text)
    assert form[CUT] == ["2.2"]
    changed = counsellor.post("/operations/new", data=form | {"told.text": ["Phaco. Tunnel 2.4 mm."]})
    assert changed.status_code == 422
    form = form_of(changed.text)
    assert form[CUT] == ["2.4"]
    emptied = counsellor.post("/operations/new", data=form | {"told.text": [""]})
    assert emptied.status_code == 422
    assert form_of(emptied.text)[CUT] == [""], "what was read goes with its text"
    assert counsellor.post("/operations/new", data=form).status_code == 303
    assert _stored(house)[1] == ["Phaco. Tunnel 2.4 mm."]


def test_another_eye_than_the_one_that_was_read_for_is_read_again(house, counsellor, fresh, form_of):
    _, form = _read(counsellor, fresh, "Phaco. Tunnel 2.2 mm.", form_of)
    other = {"operations.0.eye": ["left"], "operations.0.eye_drawn": ["left"]}
    assert counsellor.post("/operations/new", data=form | other).status_code == 422
    assert _stored(house) is None


def test_every_other_button_keeps_the_reading(counsellor, fresh, form_of):
    _, form = _read(counsellor, fresh, TOLD, form_of)
    form |= {f"asked:{TORN}": ['["yes"]']}
    for button in (
        {"look": ["yes"]},
        {"add": ["operations.0.steroid"]},
        {"remove": ["in_use.0"]},
        {"known": ["yes"]},
    ):
        answer = counsellor.post("/operations/new", data=form | button)
        again = form_of(answer.text)
        assert (again["told.text"], again[CUT], again[f"asked:{TORN}"]) == ([TOLD], ["2.2"], ['["yes"]']), (
            button
        )
        assert again[TORN] == ["yes"]


def test_a_known_patient_keeps_the_text_and_is_asked_where_the_record_says_otherwise(
    house, counsellor, fresh, form_of
):
    assert counsellor.post("/operations/new", data=fresh).status_code == 303
    _, form = _read(counsellor, fresh, "Phaco. Tunnel 2.2 mm. Capsule torn.", form_of)
    page = counsellor.post("/operations/new", data=form | {"known": ["yes"]}).text
    address = "/patients/K-104/record"
    form = form_of(page, address) | {"operations.1.date": ["2027-02-20"]}
    assert form["told.text"] == ["Phaco. Tunnel 2.2 mm. Capsule torn."]
    answer = counsellor.post(address, data=form)
    assert answer.status_code == 422
    form = form_of(answer.text, "")
    assert form["operations.1.cut_mm"] == ["2.2"]
    assert form[TORN] == ["no"], "the first operation is another one"
    # A stored answer is somebody's own, the routine one too.
    _, form = _read(
        counsellor, form_of(counsellor.get(address).text), "Phaco. Capsule torn.", form_of, address
    )
    assert form[TORN] == ["no"]
    assert json.loads(form[f"was:{TORN}"][0])[0] == ["no"]


def test_two_at_one_record_lose_neither_the_text_nor_its_answers(house, counsellor, fresh, form_of):
    assert counsellor.post("/operations/new", data=fresh).status_code == 303
    address = "/patients/K-104/record"
    mine = form_of(counsellor.get(address).text)
    theirs = mine | {"patient.name": ["Wanjiru Kamau"]}
    _, form = _read(counsellor, mine, "Phaco. Tunnel 2.2 mm.", form_of, address)
    assert counsellor.post(address, data=theirs).status_code == 303
    answer = counsellor.post(address, data=form)
    assert answer.status_code == 409
    merged = form_of(answer.text)
    assert (merged["patient.name"], merged[CUT]) == (["Wanjiru Kamau"], ["2.2"])
    assert counsellor.post(address, data=merged).status_code == 303
    record, kept = _stored(house)
    assert (record.patient.name, record.operations[0].cut_mm, kept) == (
        "Wanjiru Kamau",
        2.2,
        ["Phaco. Tunnel 2.2 mm."],
    )


def test_the_second_control_asks_even_where_the_page_does_not(house, counsellor, fresh, form_of):
    _, form = _read(counsellor, fresh, TOLD, form_of)
    # A form that says of itself that nothing is asked.
    del form[f"was:{TORN}"]
    answer = counsellor.post("/operations/new", data=form)
    assert answer.status_code == 422
    assert "nobody has answered it" in answer.text
    assert _stored(house) is None


def test_the_plan_so_far_counts_what_was_pressed(counsellor, fresh, form_of, words_of):
    _, form = _read(counsellor, fresh, TOLD, form_of)
    for pressed, told in (('["yes"]', True), ('["no"]', False)):
        shown = counsellor.post("/operations/preview", data=form | {f"asked:{TORN}": [pressed]})
        assert ("capsule was torn" in words_of(shown.text).casefold()) is told
