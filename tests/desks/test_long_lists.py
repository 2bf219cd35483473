"""A long list shows its first lines, says how many there are, and leads to all; a search finds everybody."""

from __future__ import annotations

import re

import pytest

from followup.desks.page import parts
from followup.desks.page.parts import part

CODES = ("K-1", "K-2", "K-3")


@pytest.fixture
def late(sqlite_ward, house_of, monkeypatch):
    """Three people whose visits were missed ten days ago; pages show two."""
    for code, name in zip(CODES, ("Asha Ali", "Bala Bora", "Chand Das"), strict=True):
        who = sqlite_ward.enter(sqlite_ward.record(code, name=name))
        sqlite_ward.sign(sqlite_ward.draft(who, sqlite_ward.body(code)).id)
    monkeypatch.setattr(parts, "FIRST", 2)
    house = house_of(sqlite_ward.store)
    house.clock.on(19)
    return house


def _named(page: str) -> list[str]:
    """The codes of the lines, each as often as it is named."""
    return re.findall(r"<bdi[^>]*>(K-\d)</bdi>", page)


def test_a_part_says_how_many_there_are_and_shows_all_where_it_is_asked_for():
    short, long = part("mine", range(30)), part("mine", range(31))
    assert (len(short.lines), short.more, len(long.lines), long.count, long.more) == (30, False, 30, 31, True)
    whole = part("mine", range(31), "mine")
    assert (len(whole.lines), whole.count, whole.more) == (31, 31, False)
    assert len(part("mine", range(31), "later").lines) == 30
    folded = part("mine", range(11), folded=True)
    assert (len(folded.lines), folded.count, folded.more) == (10, 11, True)
    assert len(part("mine", range(11), "mine", folded=True).lines) == 11
    assert not part("mine", ())
    assert part("mine", range(60)).filled(str).lines[-1] == "29"


@pytest.mark.parametrize(("page", "name"), [("/to-reach", "now"), ("/today", "missed")])
def test_a_long_list_shows_its_first_lines_its_count_and_the_way_to_all(late, page, name):
    reception = late.enter("reception")
    first = reception.get(page).text
    assert _named(first) == ["K-1", "K-2"]
    link = re.search(r'<p class="rest no-print"><a href="([^"]+)">Show all \(3\)</a>', first)
    assert link
    assert link[1].endswith(f"all={name}#{name}")
    assert f'id="{name}"' in first
    assert _named(reception.get(link[1].replace("&amp;", "&")).text) == list(CODES)


def test_the_heads_count_everybody_and_the_search_finds_who_is_not_shown(late):
    reception = late.enter("reception")
    page = reception.get("/today").text
    assert re.search(r'href="#missed">3 missed<', page)
    assert "3 people must be reached" in " ".join(page.split())
    assert "K-3" not in _named(page)
    found = reception.post("/find", data={"text": "chand"})
    assert found.headers["location"] == "/patients/K-3"


def test_whoever_had_the_whole_day_before_them_comes_back_to_it(late, sqlite_ward):
    late.clock.on(42)
    reception = late.enter("reception")
    page = reception.get("/today?all=to-come").text
    assert _named(page)[:3] == list(CODES)
    trip, nonce = re.search(
        r'/trips/(\d+)/arrived"><input type="hidden" name="nonce"\s+value="([^"]+)"', page
    ).groups()
    assert '<input type="hidden" name="all" value="to-come">' in page
    sent = {"nonce": nonce, "from": "day", "all": "to-come"}
    answer = reception.post(f"/trips/{trip}/arrived", data=sent)
    assert answer.headers["location"] == "/today?noted=K-1&all=to-come"
    assert _named(reception.get(answer.headers["location"]).text).count("K-3") == 1


def test_of_many_plans_to_sign_the_first_stand_on_the_page_and_all_are_a_press_away(late, sqlite_ward):
    for code in ("N-1", "N-2", "N-3"):
        sqlite_ward.draft(sqlite_ward.enter(sqlite_ward.record(code)), sqlite_ward.body(code))
    surgeon = late.enter("surgeon")
    page = surgeon.get("/waiting").text
    assert re.findall(r"Open plan: ", page) == ["Open plan: "] * 2
    assert '<a href="/waiting?all=plans#plans">Show all (3)</a>' in page
    assert surgeon.get("/waiting?all=plans").text.count("Open plan: ") == 3
    assert len(surgeon.get("/api/plans/waiting").json()) == 3
