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
        counsellor = house.log_in("counsellor")
        form = form_of(counsellor.get("/operations/new").text) | routine
        form |= {name.replace("__", "."): [value] for name, value in answers.items()}
        plan = counsellor.post("/operations/new", data=form).headers["location"]
        signed = house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD})
        assert signed.status_code == 303, signed.text
        return plan

    return make


@pytest.mark.parametrize(
    ("answers", "state", "why"),
    [
        ({"operations__0__bleeding": "yes"}, "held", "Blood at surgery"),
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
