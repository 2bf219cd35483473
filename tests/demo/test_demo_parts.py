"""The parts of the demonstration: its people, its days, its folder."""

from __future__ import annotations

import json
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from followup.demo.build import _clinic
from followup.demo.cast import AHEAD, BACK, case, case_data, case_names, cast, expected
from followup.demo.clinic import holidays, is_open
from followup.demo.files import claim_folder
from followup.demo.story import answered_record
from followup.errors import FollowupError
from followup.timing.calendar import WEEKDAYS, parse_calendar

DAYS = st.dates(date(2024, 1, 1), date(2032, 12, 31))


@settings(max_examples=25, deadline=None)
@given(DAYS, st.integers(0, 10**6))
def test_on_any_day_the_people_are_valid_records_with_codes_of_their_own(today: date, seed: int) -> None:
    people = cast(Random(seed), today)
    codes = [person.record.patient.code for person in people]
    assert len(set(codes)) == len(codes)
    assert people == cast(Random(seed), today)
    assert max(person.operated for person in people) == today
    assert min(person.operated for person in people) >= today - timedelta(days=BACK + 7)
    assert all(is_open(person.operated, today) for person in people if person.operated != today)


@settings(max_examples=25, deadline=None)
@given(DAYS, st.integers(0, 10**6))
def test_the_lists_of_the_days_to_come_lie_ahead_and_on_open_days(today: date, seed: int) -> None:
    lists = expected(Random(seed), today)
    assert lists
    assert all(today < day <= today + timedelta(days=AHEAD) and is_open(day, today) for day in lists)


@given(DAYS)
def test_there_is_a_holiday_behind_and_one_ahead_and_never_today(today: date) -> None:
    behind, ahead = holidays(today)
    assert behind < today < ahead
    closed = 4 if today.weekday() == 6 else 6
    assert closed not in (behind.weekday(), ahead.weekday())


@pytest.mark.parametrize(
    ("today", "closed"),
    [(f"2027-03-{day}", "sunday") for day in ("08", "09", "10", "11", "12", "13")]
    + [("2027-03-14", "friday")],
)
def test_the_sample_clinic_works_on_whatever_day_it_is_opened(today: str, closed: str) -> None:
    """Monday 8 to Sunday 14 March 2027; at half past eleven at night too, by its own clock."""
    now = datetime.fromisoformat(f"{today}T23:30").replace(tzinfo=ZoneInfo("Europe/London"))
    calendar = parse_calendar(json.loads(_clinic(now).calendar))
    assert calendar.is_open(now.date())
    assert set(WEEKDAYS) - set(calendar.open_weekdays) == {closed}
    week = [now.date() + timedelta(days=n) for n in range(1, 8)]
    assert [calendar.is_open(day) for day in week] == [is_open(day, now.date()) for day in week]
    retina = [day.strftime("%A").lower() for day in week if calendar.offers("retina", day)]
    assert sorted(retina) == (["sunday", "tuesday"] if closed == "friday" else ["friday", "tuesday"])


@pytest.mark.parametrize("name", case_names())
def test_a_told_case_keeps_its_intervals_when_it_is_moved(name: str) -> None:
    told = case_data(name)
    moved = case(name, date(2027, 3, 10)).record
    days = [date.fromisoformat(operation["date"]) for operation in told["operations"]]
    assert [o.date - moved.operations[0].date for o in moved.operations] == [day - days[0] for day in days]
    assert str(moved.patient.birth_date or moved.patient.birth_year) == str(
        told["patient"].get("birth_date") or told["patient"]["birth_year"]
    )


def test_an_answer_is_put_where_its_name_says() -> None:
    data = {"operations": [{"eye": "left"}], "patient": {"eyes": {}}}
    answers = {"operations.0.choices.nsaid": "give", "patient.eyes.left.uveitis.kind": "anterior"}
    assert answered_record(data, answers) == {
        "operations": [{"eye": "left", "choices": {"nsaid": "give"}}],
        "patient": {"eyes": {"left": {"uveitis": {"kind": "anterior"}}}},
    }


def test_an_earlier_demonstration_is_replaced(tmp_path: Path) -> None:
    claim_folder(tmp_path)
    (tmp_path / "sheets").mkdir()
    for name in ("sheets/a.pdf", "due.csv", "followup.sqlite3", "followup.sqlite3-wal"):
        (tmp_path / name).write_text("old")
    claim_folder(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["sample-clinic.txt"]


@pytest.mark.parametrize("name", ["notes.txt", "sheets/letter.txt"])
def test_an_earlier_demonstration_with_something_of_someone_elses_is_left_as_it_is(
    name: str, tmp_path: Path
) -> None:
    claim_folder(tmp_path)
    (tmp_path / "sheets").mkdir()
    (tmp_path / name).write_text("mine")
    with pytest.raises(FollowupError, match="other things"):
        claim_folder(tmp_path)
    assert (tmp_path / name).read_text() == "mine"


@pytest.mark.parametrize("name", ["notes.txt", "followup.sqlite3", "due.csv"])
def test_a_real_clinics_folder_is_never_taken_for_a_demonstration(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(FollowupError, match="other things"):
        claim_folder(tmp_path)
    assert [path.read_text() for path in tmp_path.iterdir()] == ["mine"]


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_text("mine")
    with pytest.raises(FollowupError, match="it is a file"):
        claim_folder(path)
