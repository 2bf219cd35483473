"""Whoever gets an export without names, and everything the clinic has, finds nothing of it in the bytes."""

from __future__ import annotations

import json
import re
import shutil
import zipfile
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Literal, Union, get_args, get_origin

import pytest
from pydantic import BaseModel
from sqlalchemy import text

from followup.care.fields.labels import LABELS
from followup.care.house.without_names import hand_on_without_names
from followup.clinical.careplan import Course, Trip
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record, parse_record
from followup.demo.cast import case_data
from followup.errors import FollowupError
from followup.exchange.pseudonyms.dictionary import COLUMNS
from followup.exchange.pseudonyms.fields import ANOTHER, Veil, fields_out, record_out
from followup.exchange.pseudonyms.lines import (
    OnePatient,
    Outline,
    alone_by_intervals,
    patient_line,
    small_groups,
)
from followup.records.channels import CHANNELS
from followup.records.desk.attempts import attempts_of
from followup.records.people.patients import every_patient, newest_record
from followup.records.store.engine import sqlite_url
from followup.records.store.journal import journal_of
from followup.records.store.store import Store
from followup.records.tables import OUTCOMES, STANDINGS, WAYS
from followup.records.trips.trips import trips_of
from followup.records.views import SYSTEM

NOW = datetime(2027, 3, 10, 9, 30, tzinfo=UTC)
DATA = ("patients", "courses", "visits", "contacts")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
VEIL = Veil(timedelta(days=73_000), frozenset({"dexamethasone-0-1"}))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("research")


@pytest.fixture(scope="module")
def sample(made, folder):
    """A sample clinic of these tests' own: they look at it and hand it on."""
    store = Store.open(sqlite_url(Path(shutil.copy(made.folder / "followup.sqlite3", folder))))
    yield store
    store.close()


@pytest.fixture(scope="module")
def export(sample, folder):
    """Hands the sample clinic on; the files by name, and what was measured."""

    def once(name: str):
        measured = hand_on_without_names(sample, folder / name, load_protocol(), by=SYSTEM, now=NOW)
        with zipfile.ZipFile(folder / name) as found:
            return {one: found.read(one) for one in found.namelist()}, measured

    return once


@pytest.fixture(scope="module")
def exported(export):
    """One export, for all tests that look at what went out."""
    return export("looked-at.zip")


def _rows(files, name):
    return [json.loads(line) for line in files[f"{name}.jsonl"].splitlines()]


def _data(files) -> str:
    return "".join(files[f"{name}.jsonl"].decode() for name in DATA)


def _lists(*models: type[BaseModel]) -> set[str]:
    """Every word of every list of these types, and the names of their fields."""
    found: set[str] = set()

    def look(annotation: object) -> None:
        if get_origin(annotation) is Literal:
            found.update(map(str, get_args(annotation)))
        elif isinstance(annotation, type) and issubclass(annotation, BaseModel):
            for name, info in annotation.model_fields.items():
                found.add(name)
                look(info.annotation)
        else:
            for one in get_args(annotation):
                look(one)

    for model in models:
        look(model)
    return found


def _words(texts) -> set[str]:
    return {word for one in texts for word in re.findall(r"[^\W\d_]+", str(one).casefold())}


def test_nothing_of_the_sample_clinic_that_names_somebody_is_in_the_bytes(sample, exported) -> None:
    files, _ = exported
    told = _data(files)
    folded = told.casefold()
    with sample.engine.connect() as connection:
        people = connection.execute(text("SELECT code, name, telephones, birth_date FROM patient")).all()
        staff = connection.execute(text("SELECT login, name FROM staff")).all()
        clinic = connection.execute(text("SELECT name, phone_day, phone_night, address FROM clinic")).one()
        codes = connection.execute(text("SELECT id FROM sheet")).scalars().all()
        typed = connection.execute(text("SELECT note FROM contact_attempt WHERE note <> ''")).scalars().all()
    names = [*(one.name for one in people), *(one.name for one in staff), *(part for part in clinic if part)]
    numbers = [phone["number"] for one in people for phone in json.loads(one.telephones)]
    gone = [*names, *(one.code for one in people), *(one.login for one in staff), *numbers, *codes, *typed]
    assert len(gone) > 200
    assert [one for one in gone if str(one).casefold() in folded] == []
    # No telephone number in whatever spelling: six figures in a row stand only in the keys.
    digits = re.sub(r'"patient":"[0-9a-f]{16}"', "", told)
    assert re.findall(r"\d{6,}", digits) == []
    assert [one.birth_date for one in people if one.birth_date and one.birth_date in told] == []


def test_every_word_that_goes_out_is_a_word_of_the_programs_own_lists(exported) -> None:
    """So that nothing typed can be among them, wherever it was typed."""
    files, _ = exported
    protocol = load_protocol()
    known = _lists(Record, Course, Trip) | {
        *protocol.formulary,
        *protocol.kinds,
        *OUTCOMES,
        *WAYS,
        *STANDINGS,
    }
    known |= {ANOTHER, "90 or more", *CHANNELS, *COLUMNS, *(name for one in COLUMNS.values() for name in one)}
    known |= {"active", "completed", "revoked", "true", "false", "null"}
    keys = {row["patient"] for row in _rows(files, "patients")}
    told = re.sub("|".join(keys), "", _data(files))
    assert len(_words([told])) > 100
    assert _words([told]) - _words(known) == set()


def test_no_true_day_goes_out_and_the_days_in_between_stay(sample, exported) -> None:
    files, measured = exported
    days = {date.fromisoformat(one) for one in DAY.findall(_data(files))}
    assert len(days) > 500
    assert min(days).year >= 2100
    out = Counter(_intervals_out(files).values())
    with sample.read() as session:
        own = Counter(_intervals_of(session, one) for one in every_patient(session))
    assert out == own
    assert sum(number for one, number in out.items() if number == 1 and len(one) > 1) == (
        measured.alone_by_intervals
    )
    assert measured.patients == sum(own.values()) > 50


def _intervals_out(files) -> dict[str, tuple[int, ...]]:
    """By key, the days of operations, looks, visits and calls, counted from the first."""
    days: dict[str, set[date]] = {}
    for row in _rows(files, "patients"):
        record = row["record"]
        dated = (*record["operations"], *record.get("reviews", ()))
        days[row["patient"]] = {date.fromisoformat(one["date"]) for one in dated}
    for name, fields in (("visits", ("day", "seen")), ("contacts", ("day",))):
        for row in _rows(files, name):
            days[row["patient"]] |= {date.fromisoformat(row[one]) for one in fields if row[one]}
    return {key: _from_first(found) for key, found in days.items()}


def _intervals_of(session, patient: int) -> tuple[int, ...]:
    record = newest_record(session, patient).record
    days = {one.date for one in (*record.operations, *record.reviews)}
    for visit in trips_of(session, patient):
        days |= {visit.day, visit.seen_on or visit.day}
    days |= {one.day for one in attempts_of(session, [patient]).get(patient, ())}
    return _from_first(days)


def _from_first(days: set[date]) -> tuple[int, ...]:
    return tuple(sorted((day - min(days)).days for day in days))


def test_two_exports_have_no_key_and_no_days_in_common_but_can_be_joined_as_the_read_me_says(
    exported, export
) -> None:
    (one, measured), (other, _) = exported, export("other.zip")
    first, second = _intervals_out(one), _intervals_out(other)
    assert not set(first) & set(second)
    starts = [
        [row["record"]["operations"][0]["date"] for row in _rows(each, "patients")] for each in (one, other)
    ]
    assert sum(a == b for a, b in zip(*starts, strict=True)) <= 2
    counted = Counter(first.values())
    joined = [key for key, days in first.items() if counted[days] == 1 and len(days) > 1]
    assert len(joined) == measured.alone_by_intervals
    said = " ".join(one["README.txt"].decode().split())
    assert f"{measured.alone_by_intervals} of the {measured.patients} patients here have days" in said
    assert "This is NOT anonymous" in said
    assert "the same patient can be found in both by the same days in between" in said
    told = json.loads(one["dictionary.json"])["measured in this export"]
    assert list(told.values()) == [
        *(measured.patients, measured.in_small_groups, measured.alone_by_intervals, measured.seen_of_late)
    ]


def test_nothing_in_the_file_says_when_it_was_made_and_the_read_me_what_that_day_would_tell(
    sample, exported, folder
) -> None:
    """Whoever takes a patient's last day for that of the export: of how many the days come out a week off."""
    files, measured = exported
    with zipfile.ZipFile(folder / "looked-at.zip") as found:
        assert {one.date_time for one in found.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert str(NOW.year) not in (said := " ".join(files["README.txt"].decode().split()))
    with sample.read() as session:
        off = [NOW.date() - _last_of(session, one) for one in every_patient(session)]
    near = sum(abs(one) <= timedelta(days=7) for one in off)
    assert 0 < near < measured.patients
    assert near == measured.seen_of_late
    assert f"for {near} of the {measured.patients} patients here" in said


def _last_of(session, patient: int) -> date:
    """The last day on which something happened to the patient, as the store has it."""
    record = newest_record(session, patient).record
    days = [one.date for one in (*record.operations, *record.reviews)]
    days += [visit.seen_on for visit in trips_of(session, patient) if visit.seen_on]
    return max([*days, *(one.day for one in attempts_of(session, [patient]).get(patient, ()))])


def test_small_groups_are_marked_and_counted(exported) -> None:
    files, measured = exported
    people = _rows(files, "patients")
    groups = Counter(map(_group, people))
    assert 0 < measured.in_small_groups < measured.patients
    assert [one["small_group"] for one in people] == [groups[_group(one)] < 5 for one in people]
    assert sum(one["small_group"] for one in people) == measured.in_small_groups


def _group(row) -> tuple[object, ...]:
    age = row["age"] if isinstance(row["age"], str) else row["age"] // 5
    record = row["record"]
    return record["patient"].get("sex"), age, len({one["eye"] for one in record["operations"]})


def test_every_value_stands_in_the_dictionary(exported) -> None:
    files, _ = exported
    told = json.loads(files["dictionary.json"])
    for name in DATA:
        rows = _rows(files, name)
        assert rows, name
        assert all([*row] == [*told["files"][f"{name}.jsonl"]] for row in rows), name
    record = told["record of patients.jsonl"]
    assert [path for path, one in record.items() if not one["meaning"]] == []
    assert record["operations[].cut_mm"] == {"meaning": LABELS["Operation.cut_mm"].text, "how": "as it is"}
    assert record["operations[].surgeon"]["how"] == "left out"


def test_it_is_in_the_journal_the_file_its_owners_alone_and_never_over_another(
    sample, export, folder
) -> None:
    export("research.zip")
    assert (folder / "research.zip").stat().st_mode & 0o077 == 0
    with sample.read() as session:
        entry = journal_of(session, "clinic")[-1]
    assert (entry.action, dict(entry.details)["file"]) == ("exported without names", "research.zip")
    before = (folder / "research.zip").read_bytes()
    with pytest.raises(FollowupError, match="it is there already"):
        export("research.zip")
    assert (folder / "research.zip").read_bytes() == before


MARK = "Zqxwords"


def _filled(annotation: object) -> object:
    """A value of this type, everything in it filled in: whatever may be typed is the mark."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _filled(get_args(annotation)[0])
    if origin is Literal:
        return get_args(annotation)[0]
    if origin in (Union, UnionType):
        return _filled(next(one for one in get_args(annotation) if one is not NoneType))
    if origin is tuple:
        return (_filled(get_args(annotation)[0]),)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation.model_construct(
            **{name: _filled(info.annotation) for name, info in annotation.model_fields.items()}
        )
    return {bool: True, int: 1977, float: 2.5, date: date(1977, 7, 7), str: MARK}[annotation]


def test_whatever_is_typed_into_whatever_field_nothing_of_it_goes_out() -> None:
    told = json.dumps(record_out(_filled(Record), VEIL))
    assert MARK not in told
    # A year is no day that is moved, and is left out.
    assert set(DAY.findall(told)) == {(date(1977, 7, 7) + VEIL.offset).isoformat()}
    assert "birth" not in told
    ways = {one.path.replace("[]", "") for one in fields_out() if one.how == "left out"}
    assert {"patient.name", "operations.surgeon", "reviews.note", "decisions.place", "patient.travel"} <= ways
    assert len(ways) > 50


@pytest.mark.parametrize(
    ("written", "told"), [("6/12", 0.5), ("0.33", 0.333), ("counting fingers", 0.0), ("Dr Sen said so", None)]
)
def test_sight_goes_out_as_a_figure_and_never_as_it_was_typed(written, told) -> None:
    data = case_data("01-wanjiru")
    data["patient"].setdefault("eyes", {})["right"] = {"vision_before": written}
    record = parse_record(data)
    eye = record_out(record, VEIL)["patient"].get("eyes", {}).get("right", {})
    assert eye.get("vision_before") == told


def test_a_medicine_that_is_of_no_list_is_another_medicine() -> None:
    data = case_data("01-wanjiru")
    data["in_use"] = [
        {"medicine": "wanjirus-own-drops", "eye": "right"},
        {"medicine": "dexamethasone-0-1", "eye": "left"},
    ]
    out = record_out(parse_record(data), VEIL)["in_use"]
    assert [one["medicine"] for one in out] == ["another medicine", "dexamethasone-0-1"]


def test_whoever_has_one_day_alone_is_found_by_no_days_in_between() -> None:
    some = [Outline(("female", 70, 1), days) for days in ((0,), (0, 7), (0, 7, 28), (0, 7, 28), (0, 8))]
    assert alone_by_intervals(some) == 2
    assert alone_by_intervals(some[:1]) == 0
    assert small_groups(some) == frozenset()
    assert small_groups(some[:4]) == {("female", 70, 1)}


@pytest.mark.parametrize(
    ("born", "told"),
    [
        ({"birth_date": "1937-03-02", "birth_year": None}, 89),
        ({"birth_date": "1936-03-02", "birth_year": None}, "90 or more"),
        ({"birth_date": "1936-03-03", "birth_year": None}, 89),
        ({"birth_date": None, "birth_year": 1937}, 88),
        ({"birth_date": None, "birth_year": 1936}, "90 or more"),
    ],
)
def test_from_ninety_on_an_age_is_not_told(born, told) -> None:
    """Operated on 2 March 2026. Where only the year is known, whoever may be ninety counts as that."""
    data = case_data("01-wanjiru")
    data["patient"] |= born
    record = parse_record(data)
    assert record.first_day == date(2026, 3, 2)
    line = patient_line(OnePatient("k", VEIL, record, (), (), (), None), frozenset())
    assert line["age"] == told
