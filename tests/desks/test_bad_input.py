"""Bad input at the desks: one clear line, typing kept, the store as before."""

from __future__ import annotations

import json

import pytest
from sqlalchemy import text

from followup.recall.codes.codes import new_sheet_id, qr_payload, typed_code

PASSWORD = "a long enough password"
TABLES = ("patient", "record_version", "operation", "care_plan", "trip", "sheet", "journal")


def _counts(house) -> list[int]:
    with house.store.read() as session:
        return [session.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() for table in TABLES]


@pytest.fixture
def counsellor(house):
    house.sign_protocol()
    return house.log_in("counsellor")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"operations.0.eye_drawn": ["left"]}, "confirm the eye"),
        ({"operations.0.date": ["2027-02-30"]}, "Day of the operation"),
        ({"operations.0.cut_mm": ["300"]}, "Incision, mm"),
        ({"operations.0.cut_mm": ["two"]}, "Incision, mm"),
        ({"patient.name": ["x" * 5_000]}, "Name"),
        ({"patient.name": [""]}, "Name"),
        ({"patient.birth_year": [""]}, "give “Birth date” or “Or year of birth”"),
        ({"patient.birth_year": ["2031"]}, "before the birth"),
        ({"patient.allergies.0.to": ["chocolate"]}, "Allergic to"),
        ({"patient.telephones.0.number": ["call me"]}, "Number"),
        ({"patient.waking.rise": ["25:99"]}, "Rises at"),
        ({"operations.0.capsule_torn": ["yes"], "operations.0.capsule_whole": ["yes"]}, "can't both be true"),
        ({"operations.0.eye": []}, "Eye, in words"),
        ({"patient.code": ["<script>"]}, "Patient code"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_typed_is_lost(
    house, counsellor, routine, form_of, words_of, changed, said
):
    before = _counts(house)
    form = form_of(counsellor.get("/operations/new").text) | routine | changed
    answer = counsellor.post("/operations/new", data=form)
    assert answer.status_code == 422
    assert said in words_of(answer.text)
    kept = form_of(answer.text)
    for name, values in form.items():
        if any(values) and name not in ("patient.drops_by", "seen"):
            assert kept.get(name) == values, name
    assert _counts(house) == before


def test_what_was_typed_is_shown_as_text_and_never_as_markup(counsellor, routine, form_of):
    form = form_of(counsellor.get("/operations/new").text) | routine
    form |= {"patient.name": ['<img src=x onerror="alert(1)">'], "operations.0.cut_mm": ["300"]}
    html = counsellor.post("/operations/new", data=form).text
    assert "<img" not in html
    assert "&lt;img" in html


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ("{", "not valid JSON"),
        ("[1]", "not a JSON object"),
        ('{"patient": 1, "patient": 2}', "stands twice"),
        ("[" * 100_000, "not valid JSON"),
        ("", "not valid JSON"),
        ('{"patient": {"code": "K-1", "nickname": "x"}, "operations": []}', "nickname"),
        ("x" * 900_000, "not valid JSON"),
    ],
)
def test_a_pasted_record_that_is_none_gets_one_line(house, counsellor, words_of, sent, said):
    before = _counts(house)
    answer = counsellor.post("/operations/paste", data={"text": sent})
    assert answer.status_code == 422
    assert said in words_of(answer.text)
    assert _counts(house) == before


def test_an_uploaded_file_is_a_record_like_any_other(house, counsellor):
    record = {
        "patient": {"code": "U-7", "name": "Tom Ashby", "birth_year": 1960},
        "operations": [
            {"eye": "left", "eye_drawn": "left", "date": "2027-03-01", "procedure": "phacoemulsification"}
        ],
    }
    file = ("record.json", json.dumps(record).encode(), "application/json")
    answer = counsellor.post("/operations/paste", files={"file": file}, data={"text": ""})
    assert answer.status_code == 303
    assert _counts(house)[0] == 1


def test_a_file_that_is_no_text_is_refused(counsellor, words_of):
    answer = counsellor.post("/operations/paste", files={"file": ("x.json", b"\xff\xfe\x00", "text/plain")})
    assert answer.status_code == 422
    assert "not a UTF-8 text" in words_of(answer.text)


def test_a_zero_byte_is_refused_before_it_reaches_a_database(house, counsellor, routine, form_of, words_of):
    before = _counts(house)
    form = form_of(counsellor.get("/operations/new").text) | routine | {"patient.name": ["Wan\0jiru"]}
    answer = counsellor.post("/operations/new", data=form)
    assert answer.status_code == 422
    assert "zero byte" in words_of(answer.text)
    pasted = counsellor.post(
        "/operations/paste",
        data={"text": '{"patient": {"code": "K-1", "name": "a\\u0000b", "birth_year": 1950}}'},
    )
    assert pasted.status_code == 422
    assert _counts(house) == before


def test_the_other_eye_than_on_the_operation_list_is_refused(house, counsellor, routine, form_of, words_of):
    listed = counsellor.post(
        "/operations/list", data={"on": "2027-03-01", "lines": "K-104, Wanjiru Ndegwa, left"}
    )
    assert listed.status_code == 303
    before = _counts(house)
    form = form_of(counsellor.get("/operations/new").text) | routine
    answer = counsellor.post("/operations/new", data=form)
    assert answer.status_code == 422
    assert "does not name the right eye" in words_of(answer.text)
    assert form_of(answer.text)["patient.name"] == ["Wanjiru Ndegwa"]
    assert _counts(house) == before


@pytest.mark.parametrize("line", ["K-104", "K-104, Wanjiru", "K-104, Wanjiru, both", ", Wanjiru, left"])
def test_a_line_of_the_list_that_says_no_eye_is_refused_and_kept(house, counsellor, form_of, words_of, line):
    answer = counsellor.post("/operations/list", data={"on": "2027-03-01", "lines": line})
    assert answer.status_code == 422
    assert "line 1 of the list" in words_of(answer.text)
    assert form_of(answer.text, "/operations/list")["lines"] == [line]


def test_a_code_already_in_use_is_refused_with_the_way_on(house, counsellor, routine, form_of, words_of):
    form = form_of(counsellor.get("/operations/new").text) | routine
    counsellor.post("/operations/new", data=form)
    before = _counts(house)
    other = form | {"patient.name": ["Somebody Else"]}
    answer = counsellor.post("/operations/new", data=other)
    assert answer.status_code == 422
    assert "already in use" in words_of(answer.text)
    assert _counts(house) == before


def test_of_two_counsellors_the_second_is_told_and_keeps_the_typing(
    house, counsellor, routine, form_of, words_of
):
    form = form_of(counsellor.get("/operations/new").text) | routine
    counsellor.post("/operations/new", data=form)
    page = "/patients/K-104/record"
    first, second = form_of(counsellor.get(page).text), form_of(counsellor.get(page).text)
    changed = first | {"patient.lives_alone": ["yes"]}
    assert counsellor.post(page, data=changed).status_code == 303
    before = _counts(house)
    answer = counsellor.post(page, data=second | {"patient.can_read": ["no"]})
    assert answer.status_code == 409
    assert "changed this record meanwhile" in words_of(answer.text)
    assert form_of(answer.text)["patient.can_read"] == ["no"]
    assert _counts(house) == before


@pytest.mark.parametrize("text_typed", ["%", "_", "' OR 1=1 --", "زززز", "x" * 200, "\u200b"])
def test_a_search_for_nothing_known_says_so(house, words_of, text_typed):
    answer = house.log_in("reception").post("/find", data={"text": text_typed})
    assert answer.status_code == 404
    assert "No patient is found" in words_of(answer.text)


def test_wrong_codes_each_say_what_they_are(house, words_of):
    reception = house.log_in("reception")
    known = new_sheet_id()
    typed = typed_code(known).replace("-", "")
    wrong = ("1" if typed[0] != "1" else "2") + typed[1:]

    def say(sent: str) -> str:
        answer = reception.post("/find", data={"text": sent})
        assert answer.status_code == 404
        return words_of(answer.text)

    assert "One character is wrong or two are exchanged" in say(wrong)
    assert "belongs to another clinic" in say(qr_payload(known, house.desk.keyring, "OTHER"))
    assert "no such sheet was issued here" in say(typed)
    sealed = qr_payload(known, house.desk.keyring, "RBE")
    forged = sealed[:6] + ("1" if sealed[6] != "1" else "2") + sealed[7:]
    assert "not made by this clinic" in say(forged)
    assert "it is not a return code" in say("nobody at all here")


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"count": ["0"], "days": ["7"]}, "step 1, times a day"),
        ({"count": ["25"], "days": ["7"]}, "step 1, times a day"),
        ({"count": ["4", "3"], "days": ["7", "x"]}, "step 2, days"),
        ({"count": ["4"], "days": [""]}, "step 1, days"),
        ({"starts": ["2027-02-01"]}, "this day is over"),
        ({"starts": ["soon"]}, "not a day"),
        ({"reason": [""]}, "no reason given"),
    ],
)
def test_a_wrong_step_is_named_and_nothing_typed_is_lost(
    house, counsellor, routine, form_of, words_of, changed, said
):
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    surgeon = house.log_in("surgeon")
    page = f"{plan}/steps"
    steps = form_of(surgeon.get(page, params={"course": "right:steroid"}).text) | {"reason": ["because"]}
    before = _counts(house)
    for button in ("show", "store"):
        answer = surgeon.post(page, data=steps | changed | {button: ["yes"]})
        assert answer.status_code == 422
        assert said in words_of(answer.text)
        kept = form_of(answer.text)
        assert [c for c in kept["count"] if c] == [c for c in (steps | changed)["count"] if c]
    assert _counts(house) == before


def test_a_wrong_password_signs_nothing_and_keeps_the_reason(house, counsellor, routine, form_of):
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    surgeon = house.log_in("surgeon")
    surgeon.post(f"{plan}/sign", data={"password": PASSWORD})
    form = form_of(counsellor.get("/patients/K-104/record").text)
    changed = form | {"operations.0.stitches": ["1"]}
    plan = counsellor.post("/patients/K-104/record", data=changed).headers["location"]
    answer = surgeon.post(f"{plan}/sign", data={"password": "not mine at all", "reason": "seen with Dr Rao"})
    assert answer.status_code == 403
    assert form_of(answer.text, f"{plan}/sign")["reason"] == ["seen with Dr Rao"]
    with house.store.read() as session:
        active = session.execute(text("SELECT number FROM care_plan WHERE status = 'active'"))
        assert active.scalars().all() == [1]


@pytest.mark.parametrize("page", ["/plans/999", "/sheets/0000000000", "/found/0000000000", "/patients/X"])
def test_what_is_not_there_is_said_with_a_next_step(house, words_of, page):
    answer = house.log_in("surgeon").get(page)
    assert answer.status_code == 404
    assert "Go to my first page" in words_of(answer.text)


def test_a_list_that_no_record_has_can_not_be_added_to(counsellor, routine, form_of):
    form = form_of(counsellor.get("/operations/new").text) | routine
    for name in ("patient.name", "nothing", "patient", "operations.0.cut_mm.x", ""):
        assert counsellor.post("/operations/new", data=form | {"add": [name]}).status_code == 422
    one_more = counsellor.post("/operations/new", data=form | {"add": ["operations.0.steroid"]})
    assert "operations.0.steroid.0.medicine" in form_of(one_more.text)
    assert form_of(one_more.text)["patient.name"] == ["Wanjiru Ndegwa"]
