"""``followup demo`` as a visitor starts it: three lines, pages that answer, nothing left behind."""

from __future__ import annotations

from typing import Any

from followup.demo.build import PASSWORD
from followup.demo.clinic import STAFF


def test_a_throw_away_clinic_says_what_to_open_and_who_can_log_in_and_is_gone_afterwards(made: Any) -> None:
    what, who, where = made.served.lines
    assert what.startswith("Open http://127.0.0.1:")
    assert [member.login for member in STAFF if member.login not in who] == []
    assert PASSWORD in who
    assert "/thrown-away/followup-demo-" in where
    assert (made.served.code, made.served.rest) == (0, "")
    assert "It is Wednesday 10 March 2027, a day on which the sample clinic works" in made.served.errors
    assert made.served.left == []


def test_its_pages_show_the_day_that_was_asked_for_and_whom_to_reach(made: Any) -> None:
    pages = made.served.pages
    assert {path: status for path, (status, _) in pages.items()} == {
        "/log-in": 200,
        "/today": 200,
        "/to-reach": 200,
    }
    assert "Quillmere Sample Eye Clinic" in pages["/log-in"][1]
    assert "Wednesday 10 March 2027" in pages["/today"][1]
    assert "Ibrahim Qureshi" in pages["/to-reach"][1]
