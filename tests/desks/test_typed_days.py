"""Days typed in a box of the desks: said in words, sent as they were meant, refused with the reason."""

from __future__ import annotations

import pytest


@pytest.mark.parametrize(
    ("typed", "lean", "status", "said"),
    [
        ("5 11", "past", 200, "Thursday 5 November 2026"),
        ("5 3", "future", 200, "Friday 5 March"),
        ("31 2", "near", 422, "this month has no such day"),
        ("3 4 26", "birth", 422, "that could be Saturday 3 April 1926 or Friday 3 April 2026"),
        ("", "past", 200, ""),
    ],
)
def test_the_page_says_the_typed_day_in_words_or_why_it_is_none(house, typed, lean, status, said):
    answer = house.log_in("reception").get("/day", params={"text": typed, "lean": lean})
    assert answer.status_code == status
    assert answer.text.startswith(said)


def test_the_day_of_the_list_is_typed_day_first(house, words_of):
    browser = house.log_in("counsellor")
    page = browser.get("/operations", params={"on": "4 3"})
    assert "Operations on Thursday 4 March" in words_of(page.text)
    assert browser.get("/operations", params={"on": "13 13"}).status_code == 422


def test_a_posted_box_is_read_by_its_own_lean(house):
    browser = house.log_in("counsellor")
    sent = {"on": "5 3", "day:on": "future", "lines": "K-104, Wanjiru Ndegwa, right"}
    assert browser.post("/operations/list", data=sent).headers["location"] == "/operations?on=2027-03-05"
