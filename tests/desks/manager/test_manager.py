"""The manager's pages: a change of the calendar shows whom it hits; nobody is expected twice; the shelf."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from sqlmodel import select

from followup.clinical.record import parse_record
from followup.records.people.patients import enter_record
from followup.records.tables import TripRow
from followup.records.views import SYSTEM

PASSWORD = "a long enough password"


@pytest.fixture
def signed(house, routine, form_of):
    """A signed routine plan of an operation that also stands on the list."""
    house.sign_protocol()
    counsellor = house.log_in("counsellor")
    lines = "K-104, Wanjiru Ndegwa, right\nK-9, Asha Rao, left"
    counsellor.post("/operations/list", data={"on": "2027-03-01", "lines": lines})
    form = form_of(counsellor.get("/operations/new").text) | routine
    plan = counsellor.post("/operations/new", data=form).headers["location"]
    return house, plan


def _sign(house, plan):
    assert house.log_in("surgeon").post(f"{plan}/sign", data={"password": PASSWORD}).status_code == 303


def _rows(house):
    page = house.log_in("manager").get("/forecast").text
    found = re.findall(r'<th scope="row">(\w+ \d+ \w+)</th><td class="n"[^>]*>(\d+)</td><td[^>]*>(\d+)', page)
    return {day: (int(expected), int(after)) for day, expected, after in found}


def test_an_operation_counts_once_whether_it_is_listed_drafted_or_signed(signed):
    house, plan = signed
    drafted = _rows(house)
    # Two people the day after: one from the draft, one from the list, whose record nobody has entered.
    assert drafted["Tuesday 2 March"] == (2, 1)
    _sign(house, plan)
    assert _rows(house) == drafted


def test_a_listed_operation_brings_all_visits_of_a_routine_one(signed):
    house, plan = signed
    _sign(house, plan)
    rows = _rows(house)
    assert sum(after for _, after in rows.values()) == sum(e - a for e, a in rows.values()) >= 3


def test_every_day_of_the_forecast_opens_the_people_that_it_counts(signed, words_of):
    house, plan = signed
    manager = house.log_in("manager")
    assert "plan not signed yet" in words_of(manager.get("/forecast?day=2027-03-02").text)
    _sign(house, plan)
    page = manager.get("/forecast").text
    opened = set(re.findall(r'href="/forecast\?day=([\d-]+)#people"', page))
    ahead = manager.get("/api/forecast").json()
    assert opened == {day["day"] for day in ahead if day["visits"] + day["after_operations"]}
    for day in ahead:
        people = manager.get("/api/forecast/people", params={"day": day["day"]}).json()
        by = [one["by"] for one in people]
        assert by.count("operation") == day["after_operations"]
        assert len(by) == day["visits"] + day["after_operations"]
        shown = manager.get(f"/forecast?day={day['day']}").text
        assert shown.count('<li><span class="says">') == len(people)
    day = words_of(manager.get("/forecast?day=2027-03-02").text)
    assert "Asha Rao · K-9 · review · operation without a plan yet Wanjiru Ndegwa · K-104 · review" in day
    assert manager.get("/api/forecast/people?day=2029-01-01").status_code == 422


def test_a_day_is_filled_by_its_fullest_service_and_says_where_it_is_overbooked(signed, form_of, words_of):
    house, plan = signed
    _sign(house, plan)
    manager = house.log_in("manager")

    def stored(**services):
        form = form_of(manager.get("/calendar").text) | {"service": list(services)}
        manager.post("/calendar", data=form | {"capacity": [str(n) for n in services.values()]})
        page = manager.get("/forecast").text
        return re.search(
            r'<td class="([^"]*)">\s*<a href="/forecast\?day=2027-03-02[^>]*>(.*?)</a>', page, re.S
        )

    state, said = stored(review=4).groups()
    assert (state, words_of(said)) == ("f5", "2 2/4 review")
    state, said = stored(review=2).groups()
    assert (state, words_of(said)) == ("f10 full", "2 2/2 review full")
    state, said = stored(review=1).groups()
    assert (state, words_of(said)) == ("f10 over", "2 2/1 review overbooked")


def test_a_holiday_shows_the_visits_that_it_hits_before_it_is_stored(signed, form_of, words_of):
    house, plan = signed
    _sign(house, plan)
    manager = house.log_in("manager")
    form = form_of(manager.get("/calendar").text) | {"holidays": ["2027-03-02"]}
    shown = manager.post("/calendar", data=form)
    assert shown.status_code == 200
    assert "takes the day from 1 visit. Nothing is stored yet." in words_of(shown.text)
    assert "Tuesday 2 March : Wanjiru Ndegwa , K-104" in words_of(shown.text)
    assert form_of(manager.get("/calendar").text)["holidays"] == [""]
    again = form_of(shown.text)
    assert again["holidays"] == ["2027-03-02"]
    # What was confirmed holds for the visits that were shown, not for others.
    more = manager.post("/calendar", data=again | {"holidays": ["2027-03-02\n2027-03-08"]})
    assert more.status_code == 200
    assert "Nothing is stored yet" in words_of(more.text)
    stored = manager.post("/calendar", data=again)
    assert stored.status_code == 303
    page = words_of(manager.get("/calendar").text)
    assert "1 visit lies on a day without what it is for" in page
    assert "closed, and people come" in words_of(manager.get("/forecast").text)


def test_reception_sees_whom_a_new_holiday_hits_and_moves_the_visit(signed, form_of, words_of):
    house, plan = signed
    _sign(house, plan)
    manager = house.log_in("manager")
    form = form_of(manager.get("/calendar").text) | {"holidays": ["2027-03-02"]}
    manager.post("/calendar", data=form_of(manager.post("/calendar", data=form).text))
    reception = house.log_in("reception")
    why = "On Tuesday 2 March, the day of the visit, the clinic does not offer what it is for"
    page = reception.get("/to-reach").text
    assert why in words_of(page)
    (move,) = re.findall(r'href="(/trips/\d+/move)"', page)
    assert why in words_of(reception.get("/calls").text)
    assert why in words_of(reception.get("/patients/K-104").text)
    (line,) = reception.get("/api/to-reach").json()
    assert (line["kind"], line["to_move"]) == ("closed day", [int(move.split("/")[2])])
    assert why.replace("2 March", "2 March 2027") in line["why"]
    assert reception.post(move, data={"day": "2027-03-03"}).status_code == 303
    assert why not in words_of(reception.get("/to-reach").text)
    assert [each["to_move"] for each in reception.get("/api/to-reach").json()] == [[]]


def test_a_change_that_hits_nobody_is_stored_at_once(signed, form_of):
    house, plan = signed
    _sign(house, plan)
    manager = house.log_in("manager")
    form = form_of(manager.get("/calendar").text) | {"holidays": ["2027-12-25"]}
    assert manager.post("/calendar", data=form).status_code == 303


def test_what_the_plans_gave_out_since_the_count_is_taken_off_the_shelf(signed, words_of):
    house, plan = signed
    _sign(house, plan)
    pharmacy = house.log_in("pharmacy")
    fields = re.findall(r'name="(stock\.[a-z0-9-]+)"', pharmacy.get("/bottles").text)
    assert fields
    assert pharmacy.post("/bottles", data=dict.fromkeys(fields, "5")).status_code == 303
    assert "handed out since" not in words_of(pharmacy.get("/bottles").text)
    house.clock.on(2)
    assert "1 handed out since, 4 left" in words_of(house.log_in("pharmacy").get("/bottles").text)


def test_nobody_who_died_is_expected_or_given_bottles(signed, words_of):
    house, plan = signed
    _sign(house, plan)
    before = _rows(house)["Tuesday 2 March"]
    surgeon = house.log_in("surgeon")
    told = {"standing": "died", "reason": "told by the family"}
    assert surgeon.post("/patients/K-104/standing", data=told).status_code == 303
    assert _rows(house)["Tuesday 2 March"] == (before[0] - 1, before[1])
    assert "Wanjiru" not in words_of(house.log_in("pharmacy").get("/bottles").text)


def test_an_eye_counts_once_for_each_of_its_operations_with_what_was_seen_before_the_next(house):
    one = {"eye": "right", "eye_drawn": "right", "date": "2026-12-14", "procedure": "phacoemulsification"}
    looks = [("2026-12-20", "6/24"), ("2027-02-10", "3/60"), ("2027-02-24", "6/9")]
    record = parse_record(
        {
            "patient": {"code": "K-1", "name": "Asha Rao", "birth_year": 1950},
            "operations": [one, one | {"date": "2027-02-10"}],
            "reviews": [{"eye": "right", "date": day, "vision": seen} for day, seen in looks],
        }
    )
    with house.store.write(SYSTEM, house.clock.now) as unit:
        enter_record(unit, record=record)
    bands = house.log_in("manager").get("/api/outcomes").json()["bands"]
    assert bands == {"final poor": 1, "early good": 1}


def test_of_a_short_past_the_plain_count_stands_and_the_page_says_so(signed, words_of):
    house, plan = signed
    _sign(house, plan)
    page = words_of(house.log_in("manager").get("/forecast").text)
    assert "Past visits: 0. From 50 on it is learned who comes; until then the plain count stands." in page
    assert "Likely to come" not in page
    assert {day["arrivals"] for day in house.log_in("manager").get("/api/forecast").json()} == {None}


def test_of_a_long_past_each_day_says_how_many_are_likely_to_come(signed, words_of):
    house, plan = signed
    _sign(house, plan)
    with house.store.write(SYSTEM, house.clock.now) as unit:
        trip = unit.session.exec(select(TripRow)).first()
        plain = trip.model_dump(exclude={"id", "number", "day", "window_start", "window_end", "status"})
        for number in range(60):
            day = house.clock.now.date() - timedelta(days=5 + number)
            came = {"status": "fulfilled", "seen_on": day, "fulfilled_at": house.clock.now}
            told = came if number < 45 else {"status": "noshow"}
            row = plain | {"number": 100 + number, "day": day, "window_start": day, "window_end": day} | told
            unit.session.add(TripRow(**row))
        unit.log("a past", "K-104")
    manager = house.log_in("manager")
    page = words_of(manager.get("/forecast").text)
    # 45 of 60; Wilson's interval by the formula: 62.8 to 84.2.
    assert "60 45 (63–84 %) 0 0 15" in page
    day = next(one for one in manager.get("/api/forecast").json() if one["day"] == "2027-03-02")
    assert day["visits"] + day["after_operations"] == 2
    assert day["arrivals"] == {"mean": pytest.approx(1.5), "low": 1, "high": 2}
    assert "1.5 (1–2)" in page


def test_one_more_operating_day_says_what_it_brings(signed, words_of):
    house, plan = signed
    _sign(house, plan)
    manager = house.log_in("manager")
    one, two = (
        {
            name: int(count)
            for name, count in re.findall(
                r'<th scope="row"><bdi>([^<]+)</bdi></th><td class="n">(\d+)<',
                manager.get("/forecast", params={"more": 2, "operations": operations}).text,
            )
        }
        for operations in (1, 2)
    )
    assert one["review"] >= 8
    assert two == {name: 2 * count for name, count in one.items()}
    assert manager.get("/forecast", params={"more": 7}).status_code == 422


def _figures(page):
    """Every figure of the page that opens somebody, with its address."""
    return {
        href.replace("&amp;", "&"): int(n)
        for href, n in re.findall(r'href="(/outcomes\?[^"#]*)#people"[^>]*>(\d+)<', page)
    }


def test_every_figure_of_the_outcomes_opens_as_many_people_as_it_counts(signed, form_of, words_of):
    house, plan = signed
    _sign(house, plan)
    manager = house.log_in("manager")
    assert "No visit has passed its last day since Thursday 1 October 2026" in words_of(
        manager.get("/outcomes").text
    )
    house.clock.on(7)
    surgeon, eye = house.log_in("surgeon"), "/patients/K-104/eyes/right"
    form = form_of(surgeon.get(eye).text, f"{eye}/findings") | {"reviews.0.vision": ["6/9"]}
    surgeon.post(f"{eye}/findings", data=form)
    house.clock.on(40)
    manager = house.log_in("manager")
    page = manager.get("/outcomes").text
    figures = _figures(page)
    assert len(figures) >= 5
    for address, count in figures.items():
        opened = manager.get(address).text
        assert opened.count('<li><span class="says"><strong>') == count, address
        assert "Wanjiru Ndegwa" in opened
    given = manager.get("/api/outcomes").json()
    assert len(given["visits"]) == sum(m["in_time"] + m["late"] + m["never"] for m in given["months"])
    assert len(given["visits"]) == sum(t["in_time"] + t["late"] + t["never"] for t in given["tiers"])
    assert len(given["eyes"]) == sum(given["bands"].values()) == 1
    # A handful is told as it is, never as a percentage.
    assert {month["percent"] for month in given["months"]} == {None}
    assert "too few for a percentage" in words_of(page)
    assert re.search(r"March 2027 \d \d \d \d of \d", words_of(page))


def test_whoever_may_open_a_patient_gets_there_from_the_figures_and_nobody_else(signed):
    house, plan = signed
    _sign(house, plan)
    house.clock.on(40)
    asked = {"result": "never", "risk": "C"}
    link = '<a href="/patients/K-104">'
    assert link in house.log_in("surgeon").get("/outcomes", params=asked).text
    page = house.log_in("manager").get("/outcomes", params=asked).text
    assert "Wanjiru Ndegwa" in page
    assert link not in page
