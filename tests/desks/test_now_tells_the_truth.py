"""What is taken now, what is not and why, and what became of the visits: told as it is, today."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import text

PASSWORD = "a long enough password"
PATIENT = "/patients/K-104"
EYE = f"{PATIENT}/eyes/right"
BROMFENAC = "Bromfenac 0.09%"


@pytest.fixture
def in_force(house, routine, form_of):
    """``in_force(**answers)``: an operation with a signed plan; the address of the plan."""
    house.sign_protocol()

    def make(**answers):
        # What is not given is a surgeon's decision, and entered by one.
        decided = any("choices" in name for name in answers)
        browser = house.log_in("surgeon" if decided else "counsellor")
        form = form_of(browser.get("/operations/new").text) | routine
        form |= {name.replace("__", "."): [value] for name, value in answers.items()}
        plan = browser.post("/operations/new", data=form).headers["location"]
        signed = house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD})
        assert signed.status_code == 303, signed.text
        return plan

    return make


@pytest.mark.parametrize(
    ("answers", "state", "why"),
    [
        ({"operations__0__bleeding": "yes"}, "held", "Hyphaema at surgery"),
        ({"operations__0__choices__nsaid": "do not give"}, "stopped", "decided against the NSAID drop"),
    ],
)
def test_only_what_is_given_stands_under_taken_now_and_the_rest_is_named_with_why(
    house, in_force, words_of, answers, state, why
):
    """A held and a stopped drop were shown with so many times a day, as if they were put in."""
    in_force(**answers)
    for day in (1, 3):
        house.clock.on(day)
        surgeon = house.log_in("surgeon")
        card = words_of(surgeon.get(EYE).text).partition("Taken now")[2].partition("What is due")[0]
        taken, heading, rest = card.partition("Not taken")
        assert heading
        assert "Dexamethasone 0.1%" in taken
        assert BROMFENAC not in taken
        assert f"{state} {BROMFENAC}" in rest
        assert why in rest
        assert "times a day" not in rest
        given = surgeon.get(f"/api{EYE}").json()
        nsaid = next(c for c in given["courses"] if c["role"] == "nsaid")
        assert nsaid["key"] not in given["taken_now"]
        assert "right:steroid" in given["taken_now"]
        (left,) = given["not_taken"]
        assert (left["course"], left["state"]) == (nsaid["key"], state)
        assert why in " ".join(left["why"])


def test_a_drop_that_is_given_stands_under_taken_now_alone(house, in_force, words_of):
    in_force()
    house.clock.on(1)
    surgeon = house.log_in("surgeon")
    card = words_of(surgeon.get(EYE).text).partition("Taken now")[2].partition("What is due")[0]
    assert BROMFENAC in card
    assert "Not taken" not in card
    given = surgeon.get(f"/api{EYE}").json()
    assert given["not_taken"] == []
    assert set(given["taken_now"]) <= {c["key"] for c in given["courses"] if c["state"] == "active"}


def test_how_the_eye_stands_is_told_to_programs_as_on_the_page(house, in_force, form_of, words_of):
    """What is above the protocol's own table is told so, with what a look today is asked for."""
    in_force(patient__eyes__right__pressure_before="14")
    house.clock.on(7)
    _look(house, form_of, cells="2+", pressure="28")
    surgeon = house.log_in("surgeon")
    given = surgeon.get(f"/api{EYE}").json()
    assert given["cells"] == {
        "found": "2+",
        "expected": "1+",
        "on": "2027-03-08",
        "above": True,
        "senior": False,
    }
    assert given["pressure"] == {"mmhg": 28.0, "rise": 14.0, "stands": "to treat", "on": "2027-03-08"}
    assert {"vision", "cells", "pressure", "pain", "hypopyon", "fibrin"} <= set(given["asked"])
    page = words_of(surgeon.get(EYE).text)
    assert "cells 2+, expected 1+ or less" in page
    assert "28 mmHg, 14 above before surgery" in page


def _marks(house, day: int, path: str) -> list[str]:
    """The visits of the drawing, from left to right: done, missed, or to come."""
    house.clock.on(day)
    page = house.log_in("reception").get(path).text
    (drawing,) = re.findall(r"<svg class=.staircase.*?</svg>", page, flags=re.S)
    found = []
    for circle, fill, cross in re.findall(
        r'<circle cx="([\d.]+)"[^>]* fill="(\w+)"|<path d="M([\d.]+) [-\d.]+L[\d.]+ [\d.]+M', drawing
    ):
        state = "missed" if cross else "done" if fill == "currentColor" else "to come"
        found.append((float(cross or circle), state))
    return [state for _, state in sorted(found)]


def _visits(house) -> list[tuple[int, str, str]]:
    """Number in the store, day and status of every visit that is not cancelled, in order."""
    with house.store.read() as session:
        found = session.execute(
            text("SELECT id, day, status FROM trip WHERE status <> 'cancelled' ORDER BY day")
        )
        return [tuple(row) for row in found]


def _look(house, form_of, **findings) -> None:
    """The patient is here, and is looked at."""
    reception = house.log_in("reception")
    action = re.search(r'action="(/trips/\d+/arrived)"', reception.get(PATIENT).text)[1]
    assert reception.post(action, data=form_of(reception.get(PATIENT).text, action)).status_code == 303
    surgeon = house.log_in("surgeon")
    form = form_of(surgeon.get(EYE).text, f"{EYE}/findings")
    form |= {f"reviews.0.{name}": [value] for name, value in findings.items()}
    assert surgeon.post(f"{EYE}/findings", data=form).status_code == 303


def test_the_small_staircase_shows_what_was_done_missed_and_is_to_come(house, in_force, form_of):
    """It was drawn from the plan as stored, in which every visit is still to come."""
    in_force()
    planned = _visits(house)
    assert set(_marks(house, 0, PATIENT)) == {"to come"}
    house.clock.on(1)
    _look(house, form_of, cells="1+", pressure="16")
    rest = len(planned) - 1
    assert _marks(house, 1, PATIENT) == ["done", *["to come"] * rest]
    # The second visit passes and nobody comes; it is not marked by anybody.
    assert _marks(house, 10, PATIENT) == ["done", "missed", *["to come"] * (rest - 1)]
    assert _marks(house, 10, "/today") == ["done", "missed", *["to come"] * (rest - 1)]
    reception = house.log_in("reception")
    assert reception.post(f"/trips/{planned[1][0]}/no-show").status_code == 303
    assert _marks(house, 10, PATIENT) == ["done", "missed", *["to come"] * (rest - 1)]


def test_the_small_staircase_shows_a_moved_visit_on_its_new_day(house, in_force, form_of):
    in_force()
    (trip, day, _) = _visits(house)[1]
    reception = house.log_in("reception")
    before = reception.get(PATIENT).text
    page = reception.get(f"/trips/{trip}/move").text
    later = re.findall(r'name="day" value="([-\d]+)"(?! disabled)', page)
    moved = next(each for each in reversed(later) if each != str(day))
    form = form_of(page) | {"day": [moved]}
    assert reception.post(f"/trips/{trip}/move", data=form).status_code == 303
    after = reception.get(PATIENT).text

    def circles(html: str) -> list[float]:
        (drawing,) = re.findall(r"<svg class=.staircase.*?</svg>", html, flags=re.S)
        return [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', drawing)]

    assert len(circles(after)) == len(circles(before))
    assert circles(after)[0] == circles(before)[0]
    assert circles(after)[1] != circles(before)[1]


def test_the_small_staircase_of_a_plan_made_again_still_shows_what_happened_before(house, in_force, form_of):
    """A re-made plan was drawn with the visits that it had planned, whatever became of them since."""
    in_force()
    house.clock.on(1)
    _look(house, form_of, cells="1+", pressure="16")
    # The record is corrected and the plan made again; then nobody comes in the first week.
    house.clock.on(2)
    counsellor = house.log_in("counsellor")
    record = form_of(counsellor.get(f"{PATIENT}/record").text)
    record |= {"patient.conditions.diabetes": ["without retinopathy"]}
    plan = counsellor.post(f"{PATIENT}/record", data=record).headers["location"]
    signing = {"password": PASSWORD, "reason": "diabetes was not known"}
    assert house.log_in("surgeon").post(f"{plan}/sign", data=signing).status_code == 303
    marks = _marks(house, 2, PATIENT)
    assert marks[0] == "done"
    assert set(marks[1:]) == {"to come"}
    assert _marks(house, 12, PATIENT) == ["done", "missed", *marks[2:]]
    assert _marks(house, 12, "/today") == ["done", "missed", *marks[2:]]
