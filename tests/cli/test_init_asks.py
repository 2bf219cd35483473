"""``followup init`` before a person: each answer is checked when it is given, and asked for again."""

from __future__ import annotations

import os
import pty
import select
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from followup.care.house import clinic_answers
from followup.errors import FollowupError
from followup.records.house.clinics import get_clinic
from followup.records.house.staff import all_staff
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store

PROGRAM = Path(sys.executable).with_name("followup")
PASSWORD = "a long enough password"


def _talk(folder: Path, answers: Sequence[str], environment: dict[str, str]) -> tuple[int, str]:
    """What came of answering each question of ``followup init`` at a terminal, and what it said."""
    child, line = pty.fork()
    if child == 0:
        os.execve(str(PROGRAM), [str(PROGRAM), "init", "--folder", str(folder)], environment)
    said, left, end = b"", list(answers), time.monotonic() + 90
    asked = 0
    while time.monotonic() < end:
        ready, _, _ = select.select([line], [], [], 0.2)
        if ready:
            try:
                found = os.read(line, 4096)
            except OSError:
                break
            if not found:
                break
            said += found
        elif left and said.endswith(b": ") and len(said) > asked:
            asked = len(said)
            os.write(line, left.pop(0).encode() + b"\n")
    _, status = os.waitpid(child, 0)
    os.close(line)
    return os.waitstatus_to_exitcode(status), said.decode().replace("\r\n", "\n")


ANSWERS = (
    *("", "Riverbend Eye Clinic", "rb", "RB", "none", "+44 20 7946 0101", "12", "+44 20 7946 0102"),
    *("dhaka", "Asia/Dhaka", "", "Ferry Street, +44 20 7946 0103", "en klingon", "en bn", "de", "fr"),
    *(
        "weekend",
        "sat-thu",
        "",
        "ruth",
        "Ruth Amberley",
        "short",
        "short",
        PASSWORD,
        "another one",
        PASSWORD,
        PASSWORD,
    ),
)


def test_each_answer_is_checked_when_it_is_given_and_asked_for_again(
    tmp_path: Path, environment: dict[str, str]
) -> None:
    code, said = _talk(tmp_path / "new", ANSWERS, environment)
    assert code == 0, said
    for line in (
        "  nothing was given - give the name that patients know\n",
        "  rb can't stand in a code - use 1 to 8 capital letters and digits\n",
        "  none is no telephone number - write its digits, such as +44 20 7946 0101\n",
        "  dhaka is no time zone - did you mean Asia/Dhaka?\n",
        "  there are no words in klingon - choose of ar, bn, en",
        "  there are no words in de - choose of en, fr, hi, bn, ar\n",
        "  weekend is no day of the week - write them such as mon-fri, or sun mon tue\n",
        "  a password has 12 to 200 characters - choose another\n",
        "do not match",
    ):
        assert said.count(line) == 1, line
    assert PASSWORD not in said
    assert "followup serve --folder" in said
    store = Store.open(sqlite_url(tmp_path / "new" / "followup.sqlite3"))
    with store.read() as session:
        clinic, (ruth,) = get_clinic(session), all_staff(session)
    store.close()
    assert (clinic.name, clinic.code, clinic.zone) == ("Riverbend Eye Clinic", "RB", "Asia/Dhaka")
    assert (clinic.phone_day, clinic.phone_night) == ("+44 20 7946 0101", "+44 20 7946 0102")
    assert (clinic.address, clinic.nearest_eye_clinic) == ("", "Ferry Street, +44 20 7946 0103")
    assert (clinic.sheet_languages, clinic.staff_language) == (("en", "bn"), "fr")
    assert '"friday"' not in clinic.calendar
    assert '"thursday"' in clinic.calendar
    assert (ruth.login, ruth.name, ruth.roles) == ("ruth", "Ruth Amberley", frozenset({"manager"}))


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--name", "  "),
        ("--code", "lower"),
        ("--code", "TOOLONGACODE"),
        ("--phone-day", "none"),
        ("--phone-night", "+"),
        ("--zone", "Mars/Olympus"),
        ("--language", "klingon"),
        ("--staff-language", "de"),
        ("--open-days", "weekend"),
        ("--address", "Mill \U00010330 Road"),
    ],
)
def test_a_change_refuses_what_setting_up_refuses_and_stores_nothing(
    clinic: Path, store: Store, inside, option: str, value: str
) -> None:
    def stored():
        with store.read() as session:
            return get_clinic(session)

    before = stored()
    refused = inside("init", "--again", option, value)
    assert refused.returncode == 2, refused.stdout
    assert refused.stderr.count("\n") == 1
    assert stored() == before


def test_open_days_can_be_changed_and_leave_the_rest_of_the_calendar(
    clinic: Path, store: Store, inside, tmp_path: Path
) -> None:
    calendar = tmp_path / "calendar.json"
    calendar.write_text('{"holidays": ["2027-01-01"]}', "utf-8")
    assert inside("init", "--again", "--calendar", str(calendar)).returncode == 0
    assert inside("init", "--again", "--open-days", "mon-wed fri").returncode == 0
    with store.read() as session:
        stored = get_clinic(session).calendar
    assert '"holidays"' in stored
    assert [
        day for day in ("monday", "tuesday", "wednesday", "thursday", "friday") if f'"{day}"' in stored
    ] == [
        "monday",
        "tuesday",
        "wednesday",
        "friday",
    ]


@pytest.mark.parametrize(
    ("said", "days"),
    [
        ("mon-fri", "monday tuesday wednesday thursday friday"),
        ("Saturday - thu", None),
        ("sat-mon", "monday saturday sunday"),
        ("Sun, Tue; wed", "tuesday wednesday sunday"),
        ("mo", None),
        ("", None),
    ],
)
def test_days_of_the_week_are_read_as_people_write_them(said: str, days: str | None) -> None:
    if days is None:
        with pytest.raises(FollowupError, match="no day of the week"):
            clinic_answers.open_days(said)
    else:
        assert clinic_answers.open_days(said) == tuple(days.split())


@pytest.mark.parametrize(
    ("said", "read"), [("asia/dhaka", "Asia/Dhaka"), (" Europe/London ", "Europe/London")]
)
def test_a_time_zone_is_known_however_its_letters_are_written(said: str, read: str) -> None:
    assert clinic_answers.zone(said) == read
