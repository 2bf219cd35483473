"""One's own log-ins: listed, ended one by one, replaced in the same browser (OWASP ASVS 5.0, 7.4 and 7.5)."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from followup.care.house.account import LIFETIME
from followup.desks.door.browser import MOST, browser_words
from followup.desks.door.guard import IDLE

PASSWORD = "a long enough password"
PHONE = (
    "Mozilla/5.0 (Linux; Tablet 14; K) AppleWebKit/537.36 (KHTML, like Gecko) Ours/3.1 Mobile Safari/537.36"
)


def _in_force(browser) -> bool:
    return browser.get("/api/session").status_code == 200


def _listed(browser) -> list[dict]:
    return browser.get("/api/sessions").json()


def test_ones_own_log_ins_are_listed_with_their_browser_and_which_is_this_one(house, words_of):
    phone = house.browser()
    sent = {"login": "counsellor", "password": PASSWORD}
    assert phone.post("/log-in", data=sent, headers={"user-agent": PHONE}).status_code == 303
    house.clock.now += timedelta(minutes=5)
    desk, other = house.log_in("counsellor", PASSWORD), house.log_in("surgeon", PASSWORD)
    assert [(one["browser"], one["here"]) for one in _listed(desk)] == [
        ("", True),
        ("Ours, Linux, Tablet 14", False),
    ]
    page = desk.get("/password")
    assert "Ours, Linux, Tablet 14" in words_of(page.text)
    assert words_of(page.text).count("this one") == 1
    assert len(re.findall(r'action="/sessions/\w+/end"', page.text)) == 1, "this one is ended by logging out"
    assert "Ours" not in words_of(other.get("/password").text)
    assert not any(one.cookies["followup"] in page.text for one in (phone, desk))


@pytest.mark.parametrize("api", [False, True], ids=["page", "program"])
def test_one_is_ended_from_elsewhere_and_the_others_go_on(house, api):
    lost, desk, third = (house.log_in("counsellor", PASSWORD) for _ in range(3))
    gone = next(one["name"] for one in _listed(lost) if one["here"])
    path = f"/api/sessions/{gone}" if api else f"/sessions/{gone}/end"
    answer = desk.delete(path) if api else desk.post(path)
    assert answer.status_code == (204 if api else 303)
    assert [_in_force(one) for one in (lost, desk, third)] == [False, True, True]
    again = desk.delete(path) if api else desk.post(path)
    assert again.status_code == 404


@pytest.mark.parametrize("api", [False, True], ids=["page", "program"])
def test_all_others_are_ended_at_once(house, api):
    browsers, surgeon = (
        [house.log_in("counsellor", PASSWORD) for _ in range(3)],
        house.log_in("surgeon", PASSWORD),
    )
    answer = browsers[1].delete("/api/sessions") if api else browsers[1].post("/sessions/end-others")
    assert answer.status_code == (204 if api else 303)
    assert [_in_force(one) for one in browsers] == [False, True, False]
    assert _in_force(surgeon)


def test_only_log_ins_in_force_are_listed(house):
    house.log_in("counsellor", PASSWORD)
    left = house.log_in("counsellor", PASSWORD)
    assert left.post("/log-out").status_code == 303
    tick = timedelta(seconds=1)
    house.clock.now += IDLE - tick
    desk = house.log_in("counsellor", PASSWORD)
    assert [one["here"] for one in _listed(desk)] == [True, False], "last used first"
    house.clock.now += tick
    assert [one["here"] for one in _listed(desk)] == [True], "too long idle"
    while house.clock.now < datetime(2027, 3, 1, 8, 30, tzinfo=UTC) + LIFETIME:
        house.clock.now += IDLE - timedelta(minutes=2)
        assert _in_force(desk)
    other = house.log_in("counsellor", PASSWORD)
    house.clock.now += timedelta(minutes=28)
    assert [one["here"] for one in _listed(other)] == [True], "used just before, but older than a day's work"


def test_nobody_ends_anothers_log_in(house):
    surgeon, manager = house.log_in("surgeon", PASSWORD), house.log_in("manager", PASSWORD)
    (theirs,) = _listed(surgeon)
    for name in (theirs["name"], theirs["name"][:1], "%", "_" * 16):
        assert manager.delete(f"/api/sessions/{name}").status_code in (404, 422)
    assert _in_force(surgeon)


@pytest.mark.parametrize("api", [False, True], ids=["page", "program"])
@pytest.mark.parametrize("login", ["counsellor", "surgeon"])
def test_a_new_log_in_from_the_same_browser_ends_the_one_before(house, api, login):
    browser, elsewhere = house.log_in("counsellor", PASSWORD), house.log_in("counsellor", PASSWORD)
    before = browser.cookies["followup"]
    sent = {"login": login, "password": PASSWORD}
    answer = browser.post("/api/session", json=sent) if api else browser.post("/log-in", data=sent)
    assert answer.status_code == (201 if api else 303)
    thief = house.browser()
    thief.cookies.set("followup", before)
    assert not _in_force(thief)
    assert _in_force(browser)
    assert _in_force(elsewhere)


def test_a_refused_log_in_ends_nothing(house):
    browser = house.log_in("counsellor", PASSWORD)
    browser.post("/log-in", data={"login": "counsellor", "password": "not that one at all"})
    assert _in_force(browser)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (PHONE, "Ours, Linux, Tablet 14"),
        (
            "Mozilla/5.0 (X11; Linux x86_64; rv:130.0) Gecko/20100101 Theirs/130.0",
            "Theirs, X11, Linux x86_64",
        ),
        ("our-program/2.1", "our-program"),
        ("", ""),
        ("<script>alert(1)</script>", "1"),
        ("\u202eevil/1 (\x00\x1b[31m)", "evil, [31m"),
        ("(" * 9_000, ""),
    ],
)
def test_a_browser_is_called_what_it_calls_itself_in_a_few_plain_words(told, words):
    assert browser_words(told) == words


def test_a_browser_that_tells_a_long_story_is_cut_short():
    assert len(browser_words(f"Ours/1 ({'very long; ' * 99})")) <= MOST
    assert len(browser_words(f"{'a' * 300}/1 (x)")) <= MOST
