"""Who is looked for is found, with a wrong letter too, and is told apart; nothing typed is lost."""

from __future__ import annotations

import pytest

from followup.records.people.similar import similar_patients

PASSWORD = "a long enough password"
NAMES = {
    **{"K-104": "Wanjiru Ndegwa", "K-105": "José Álvares", "K-106": "Lakshmi Raman"},
    **{"K-107": "Wanjiru Ndegwa", "K-108": "Muthulakshmi Rao", "K-109": "নাসরিন বেগম"},
}


@pytest.fixture
def people(house, routine, form_of):
    house.sign_protocol()
    counsellor = house.enter("counsellor")
    for code, name in NAMES.items():
        form = form_of(counsellor.get("/operations/new").text) | routine
        form |= {"patient.code": [code], "patient.name": [name]}
        assert counsellor.post("/operations/new", data=form).status_code == 303
    return house


def _find(people, typed: str):
    return people.enter("reception").post("/find", data={"text": typed})


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("Wanjru", ["K-104", "K-107"]),  # a letter missing
        ("Wanjiiru", ["K-104", "K-107"]),  # one too many
        ("Wajniru Ndegwa", ["K-104", "K-107"]),  # two exchanged
        ("ndegwo wanjiru", ["K-104", "K-107"]),  # another letter, the words in any order
        ("Jose Alvarez", ["K-105"]),  # accents and a wrong letter
        ("Laksmi", ["K-106"]),
        ("Muthalaksmi", ["K-108"]),  # two wrong letters in a long word
        ("নাসরীন", ["K-109"]),
        ("Laxmi", []),  # two wrong letters in a short word
        ("Roo", []),  # three letters are taken as they are
        ("Wanjru Raman", []),  # each word must stand in one name
        ("7946 0124", []),  # a number is not guessed
        ("K-1o4", []),
    ],
)
def test_a_name_is_found_with_a_wrong_letter_and_nobody_is_guessed(people, typed, found):
    with people.store.read() as session:
        assert [who.code for who in similar_patients(session, typed)] == found


def test_the_likest_name_stands_first(people):
    with people.store.read() as session:
        (first, *_) = similar_patients(session, "Lakshmi Ramon")
    assert first.code == "K-106"


def test_a_likeness_is_offered_to_compare_and_never_opened_by_itself(people, words_of, form_of):
    answer = _find(people, "Lakshmy Raman")
    assert answer.status_code == 200
    said = words_of(answer.text)
    assert "Nobody is written “Lakshmy Raman”" in said
    for part in ("Lakshmi Raman", "71-72, right eye · K-106", "+44 20 7946 0123", "no visit to come"):
        assert part in said
    assert form_of(answer.text, "/find")["text"] == ["Lakshmy Raman"]


def test_whoever_is_written_so_is_found_alone(people, words_of):
    assert _find(people, "Lakshmi Raman").headers["location"] == "/patients/K-106"
    said = words_of(_find(people, "wanjiru").text)
    assert "are alike" not in said
    assert said.count("shared name") == 2


def test_what_nobody_is_called_stays_in_the_box(people, form_of):
    answer = _find(people, "<Zzyzx> & sons")
    assert answer.status_code == 404
    assert "<Zzyzx>" not in answer.text
    assert form_of(answer.text, "/find")["text"] == ["<Zzyzx> & sons"]


def test_a_hit_shows_the_next_visit_and_the_telephone(people, words_of):
    assert people.log_in("surgeon").post("/plans/1/sign", data={"password": PASSWORD}).status_code == 303
    people.clock.on(1)
    said = words_of(_find(people, "Wanjiru").text)
    assert "K-104 shared name · +44 20 7946 0123 due today Tuesday 2 March: first look after surgery" in said


def test_programs_are_told_whether_a_name_is_only_alike(people):
    browser = people.enter("reception")
    exact = browser.post("/api/find", json={"text": "Lakshmi Raman"}).json()
    alike = browser.post("/api/find", json={"text": "Lakshmi Ramon"}).json()
    assert (exact["similar"], alike["similar"]) == (False, True)
    assert [who["code"] for who in alike["people"]] == ["K-106"]
