"""The surgeon's overview: the worst eye stands first, my own overdue patients are found by any spelling."""

from __future__ import annotations

import itertools
import re

import pytest

from followup.care.looks.overview import severity
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record.findings import Findings

RULES = load_protocol().review.inflamed
PASSWORD = "a long enough password"
GRADED = ("0", "0.5+", "1+", "2+", "3+", "4+")


def look(**found) -> Findings:
    return Findings.model_validate({"eye": "right", "date": "2027-03-08"} | found)


def test_pus_outweighs_fibrin_fibrin_any_cells_and_cells_any_flare():
    order = [
        look(cells="0", hypopyon="yes"),
        look(cells="0", fibrin="yes"),
        look(cells="4+", flare="0"),
        look(cells="3+", flare="4+"),
        look(cells="1+", flare="0"),
        look(cells="0", flare="4+"),
        look(cells="0.5+", flare="1+"),
    ]
    ranks = [severity(each, RULES) for each in order]
    assert ranks == sorted(ranks, reverse=True)
    assert (
        severity(look(cells="0.5+", flare="1+"), RULES) == severity(look(pressure=40), RULES) == (0, 0, 0, 0)
    )


def test_a_higher_grade_of_cells_is_never_ranked_lower():
    for low, high in itertools.pairwise(GRADED):
        for flare in ("0", "2+", "not seen"):
            assert severity(look(cells=low, flare=flare), RULES) <= severity(
                look(cells=high, flare=flare), RULES
            )


@pytest.fixture
def operated(house, routine, form_of):
    """``operated(code, **findings)``: a signed plan, a week old, with a look entered by the surgeon."""
    house.sign_protocol()

    def make(code, surgeon="Dr Sen"):
        counsellor = house.log_in("counsellor")
        form = form_of(counsellor.get("/operations/new").text) | routine
        form |= {
            "patient.code": [code],
            "patient.name": [f"Person {code}"],
            "operations.0.surgeon": [surgeon],
        }
        plan = counsellor.post("/operations/new", data=form).headers["location"]
        assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303

    return make


def _enter(house, form_of, code, **findings):
    surgeon = house.log_in("surgeon")
    eye = f"/patients/{code}/eyes/right"
    form = form_of(surgeon.get(eye).text, f"{eye}/findings")
    form |= {f"reviews.0.{name}": [value] for name, value in findings.items()}
    assert surgeon.post(f"{eye}/findings", data=form).status_code == 303


def test_the_week_is_listed_worst_first_and_a_pressure_alone_hides_nothing(house, operated, form_of):
    for code in ("K-1", "K-2", "K-3", "K-4"):
        operated(code)
    house.clock.on(6)
    _enter(house, form_of, "K-1", cells="3+", pressure="14")
    _enter(house, form_of, "K-2", cells="2+", pressure="14")
    _enter(house, form_of, "K-3", cells="2+", pressure="31")
    _enter(house, form_of, "K-4", cells="0", flare="0")
    house.clock.on(7)
    _enter(house, form_of, "K-1", pressure="18")
    page = house.log_in("surgeon").get("/my-patients").text
    assert re.findall(r"/patients/(K-\d)/eyes/right", page.partition("More inflamed")[0]) == ["K-1"]
    page = page.partition("More inflamed than expected, last seven days")[2]
    shown = re.findall(r"/patients/(K-\d)/eyes/right", page)
    assert shown == ["K-3", "K-2"]
    house.clock.on(20)
    assert (
        "More inflamed than expected, last seven days" not in house.log_in("surgeon").get("/my-patients").text
    )


def test_each_person_stands_once_with_all_that_is_wrong_beside_the_name(house, operated, form_of, words_of):
    """One patient stood in three lists, each with every missed visit in a sentence of its own."""
    operated("K-1")
    operated("K-2")
    house.clock.on(40)
    _enter(house, form_of, "K-1", cells="2+", pressure="14")
    page = words_of(house.log_in("surgeon").get("/my-patients").text)
    for code in ("K-1", "K-2"):
        assert len(re.findall(f"Person {code} ?, 71-72, right eye · {code}", page)) == 1
        assert page.count(f"Person {code}") == 1
    assert re.search("Person K-2.*overdue [0-9]+ days.*and [0-9] more visits? missed", page)
    assert "the last day for this check" not in page


def test_whoever_is_here_waits_on_my_patients_until_findings_are_stored(house, operated, form_of, words_of):
    operated("K-1")
    house.clock.on(1)
    reception = house.log_in("reception")
    page = reception.get("/patients/K-1").text
    action = re.search(r'action="(/trips/\d+/arrived)"', page)[1]
    assert reception.post(action, data=form_of(page, action)).status_code == 303
    surgeon = house.log_in("surgeon")
    page = surgeon.get("/my-patients").text
    assert "Here, still to examine" in words_of(page)
    assert 'href="/patients/K-1/eyes/right"' in page
    assert [one["patient"]["code"] for one in surgeon.get("/api/my-patients").json()["here"]] == ["K-1"]
    _enter(house, form_of, "K-1", cells="1+", pressure="14")
    assert "Here, still to examine" not in words_of(surgeon.get("/my-patients").text)
    assert surgeon.get("/api/my-patients").json()["here"] == []


def test_my_overdue_patients_are_found_however_my_name_was_typed(house, operated, words_of):
    operated("K-1", surgeon="  dr   SEN ")
    operated("K-2", surgeon="Dr Rao")
    operated("K-3", surgeon="")
    house.clock.on(9)
    page = words_of(house.log_in("surgeon").get("/my-patients").text)
    mine = page.split("Overdue among those I operated on")[1]
    assert "Person K-1" in mine
    assert "Person K-2" not in mine
    assert "Person K-3" not in mine
