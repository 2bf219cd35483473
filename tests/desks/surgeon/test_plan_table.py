"""The one table on a plan's page and an eye's page: its marks read out, today's row, visits as they stand."""

from __future__ import annotations

import re

import pytest

PASSWORD = "a long enough password"
EYE = "/patients/K-104/eyes/right"


@pytest.fixture
def signed(house, routine, form_of):
    """A routine operation with a signed plan; its address."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    form = form_of(counsellor.get("/operations/new").text) | routine | {"operations.0.surgeon": ["Dr Sen"]}
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303
    return plan


def _table(page: str) -> str:
    return page.split('<table class="plan-table">')[1].split("</table>")[0]


def _rows(page: str) -> list[str]:
    return _table(page).split("<tbody")[1:]


def test_a_mark_is_read_out_and_an_empty_cell_says_nothing(house, signed):
    first, *_ = _rows(house.log_in("surgeon").get(signed).text)
    assert first.count('aria-label="1 drop, Dexamethasone 0.1%, right eye">S<') == 4
    assert first.count('aria-label="1 drop, Bromfenac 0.09%, right eye">N<') == 2
    assert '<span class="letter right filled" role="img"' in first
    (last,) = [row for row in _rows(house.log_in("surgeon").get(signed).text) if row.count("aria-label") == 1]
    assert last.count("<td></td>") == 3


def test_heads_are_heads_and_the_table_scrolls_under_its_name(house, signed):
    page = house.log_in("surgeon").get(signed).text
    assert '<div class="sideways" role="region" aria-labelledby="table" tabindex="0">' in page
    assert '<h2 id="table" class="unseen">' in page
    assert re.findall(r'<th scope="col">([\d:]+)</th>', _table(page)) == ["06:00", "11:00", "17:00", "22:00"]
    assert all('<th scope="row" class="dates">' in row for row in _rows(page))


@pytest.mark.parametrize("address", ["plan", "eye"])
def test_todays_row_is_now_and_what_is_over_is_soft(house, signed, address):
    house.clock.on(8)
    rows = _rows(house.log_in("surgeon").get(signed if address == "plan" else EYE).text)
    assert [row.startswith(' class="now"') for row in rows].count(True) == 1
    (now,) = [row for row in rows if row.startswith(' class="now"')]
    assert "Now" in now
    assert "(day 8)" in now
    assert rows[0].startswith(' class="soft"')
    assert rows[1].startswith('><tr class="visit soft"')
    assert rows[-1].startswith('><tr class="visit">')


@pytest.mark.parametrize("address", ["plan", "eye"])
def test_a_visit_that_reception_moved_stands_on_its_new_day_with_its_hour(house, signed, words_of, address):
    reception = house.log_in("reception")
    visits = sorted(reception.get("/api/patients/K-104").json()["visits"], key=lambda visit: visit["day"])
    moved = {"day": visits[1]["window_end"], "hour": "14:30"}
    assert reception.post(f"/trips/{visits[1]['id']}/move", data=moved).status_code == 303
    page = house.log_in("surgeon").get(signed if address == "plan" else EYE).text
    found = [words_of(row) for row in _rows(page) if 'class="visit' in row]
    assert [row for row in found if "Wed 10 March, 14:30" in row]
    assert not [row for row in found if "Mon 8 March" in row]


def test_both_pages_have_the_same_rows(house, signed):
    surgeon, more = house.log_in("surgeon"), re.compile(r" <span class=.small soft.*?</details>", re.DOTALL)
    plan, eye = (more.sub("", _table(surgeon.get(page).text)) for page in (signed, EYE))
    assert plan == eye


def test_what_a_visit_can_do_and_why_it_is_stays_on_the_plans_page(house, signed, words_of):
    page = house.log_in("surgeon").get(signed).text
    visit = words_of(page.split("<summary>3 visits")[1].split("A look at another clinic")[0])
    assert "Can move from 6 March to 10 March" in visit
    assert "Visit 2 is on Monday 8 March." in visit
    assert "A look at another clinic" in page
    assert page.count(">Change steps</a>") == 3


def test_a_replaced_plan_shows_its_visits_as_they_were_planned(house, signed, form_of):
    house.clock.on(1)
    surgeon, counsellor = house.log_in("surgeon"), house.log_in("counsellor")
    before = surgeon.get(signed).text.count('class="visit')
    form = form_of(counsellor.get("/patients/K-104/record").text) | {"patient.conditions.asthma": ["no"]}
    draft = counsellor.post("/patients/K-104/record", data=form).headers["location"]
    answer = surgeon.post(f"{draft}/sign", data={"password": PASSWORD, "reason": "asked again"})
    assert answer.status_code == 303, answer.text
    assert surgeon.get(signed).text.count('class="visit') == before == 3
