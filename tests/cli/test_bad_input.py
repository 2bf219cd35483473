"""Everything a person or a program can hand in wrong: one line, exit code 2, nothing written."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from followup.clinical.protocol.load import SAMPLE

Refused = Callable[..., str]
Write = Callable[..., Path]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "not valid JSON"),
        (b"{", "not valid JSON"),
        (b"[]", "start the file with {"),
        (b'{"patient": 1, "patient": 2}', "stands twice"),
        (b"\xff\xfe{}", "not UTF-8 text at byte 0"),
        (b'{"patient": "caf\xe9"}', "not UTF-8 text at byte 16"),
        (b"[" * 200_000, "not valid JSON"),
        (b'{"a":' * 100_000, "not valid JSON"),
        (b'{"patient": {"name": "' + b"x" * 5_000_000 + b'"}}', "larger than 1000000 bytes"),
        (b'{"patient": {"code": "A", "name": "' + b"x" * 900_000 + b'"}}', "patient.name"),
        (b'{"patient": {"code": "A", "name": "\\ud800", "birth_year": 1950}}', "patient.name"),
        (b'{"operations": []}', "patient"),
        (b"NaN", "start the file with {"),
        (b"1" * 10_000, "not valid JSON"),
    ],
    ids=[
        "empty", "cut off", "list", "double key", "utf-16", "latin-1", "deep list", "deep object",
        "5 MB name", "900 kB name", "half a character", "no patient", "not a number", "huge number",
    ],
)  # fmt: skip
def test_a_file_that_is_no_record_is_refused(
    content: bytes, says: str, refused: Refused, tmp_path: Path
) -> None:
    path = tmp_path / "record.json"
    path.write_bytes(content)
    line = refused("plan", str(path))
    assert says in line
    assert "record.json" in line
    assert [entry.name for entry in tmp_path.iterdir()] == ["record.json"]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"operations__0__eye_drawn": "left"}, "operations.0"),
        ({"operations__0__date": "2026-02-30"}, "operations.0.date"),
        ({"operations__0__date": 20260302}, "operations.0.date"),
        ({"operations__0__date": "1890-01-01"}, "date"),
        ({"operations__0__date": "9999-12-31"}, "operations.0.date"),
        ({"operations__0__cut_mm": 300}, "operations.0.cut_mm"),
        ({"operations__0__cut_mm": "wide"}, "operations.0.cut_mm"),
        ({"operations__0__capsule_torn": True, "operations__0__capsule_whole": True}, "capsule"),
        ({"operations__0__left_handed": True}, "operations.0.left_handed"),
        ({"patient__allergies": [{"to": "strawberries"}]}, "patient.allergies.0.to"),
        ({"patient__birth_date": "2031-01-01"}, "birth"),
        ({"patient__waking": {"rise": "25:00"}}, "patient.waking.rise"),
        ({"patient__eyes__right__uveitis": {"last_active": "0001-01-01"}}, "uveitis.last_active"),
        ({"patient__language": "Klingon!"}, "patient.language"),
        (
            {"in_use": [{"medicine": "no-such-medicine", "eye": "right", "count_a_day": 2}]},
            "no-such-medicine",
        ),
    ],
)
def test_a_record_with_a_bad_field_is_refused_by_the_name_of_the_field(
    changes: dict[str, Any], field: str, refused: Refused, record_file: Write
) -> None:
    line = refused("plan", str(record_file(**changes)))
    assert field in line


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "no command given"),
        (["plna"], "plna"),
        (["plan"], "RECORD"),
        (["plan", "nowhere.json"], "nowhere.json: No such file"),
        (["plan", "."], "directory"),
        (["plan", "x" * 5000], "name too long"),
        (["plan", "-", "--as-of", "tomorrow"], "YYYY-MM-DD"),
        (["plan", "-", "--as-of", "2026-02-29"], "YYYY-MM-DD"),
        (["plan", "-", "--as-of", "20260301"], "YYYY-MM-DD"),
        (["plan", "-", "--as-of", "0001-01-01"], "between 1990 and 2200"),
        (["plan", "-"], "standard input"),
        (["schema"], "record"),
        (["schema", "shoe"], "shoe"),
        (["sheet"], "Give one of"),
        (["sheet", "a.json", "--day", "2026-03-02"], "Give one of"),
        (["due"], "followup init"),
        (["overdue", "--on", "soon"], "YYYY-MM-DD"),
        (["sweep"], "followup init"),
        (["serve"], "followup init"),
        (["serve", "--port", "99999"], "FOLLOWUP_PORT"),
        (["demo", "--seed", "many"], "many"),
        (["init", "--name", "Riverbend"], "--code"),
    ],
)
def test_a_command_line_that_can_not_be_meant_is_refused(
    arguments: list[str], says: str, refused: Refused, tmp_path: Path
) -> None:
    assert says in refused(*arguments, stdin="")
    assert list(tmp_path.iterdir()) == []


def test_a_day_before_the_operation_is_refused(refused: Refused, record_file: Write) -> None:
    assert "operation" in refused("plan", str(record_file()), "--as-of", "2026-03-01")


def test_a_calendar_that_can_not_hold_is_refused_by_its_field(
    refused: Refused, record_file: Write, tmp_path: Path
) -> None:
    calendar = tmp_path / "calendar.json"
    calendar.write_text('{"open_weekdays": ["someday"]}', "utf-8")
    line = refused("plan", str(record_file()), "--calendar", str(calendar))
    assert "open_weekdays" in line
    assert "calendar.json" in line


def test_a_protocol_that_contradicts_itself_is_refused_with_file_and_line(
    refused: Refused, record_file: Write, tmp_path: Path
) -> None:
    own = tmp_path / "protocol"
    shutil.copytree(SAMPLE, own)
    settings = own / "protocol.toml"
    settings.write_text(settings.read_text("utf-8") + '\n[[taper]]\nid = "Z"\nsteps = [[4, 0]]\n', "utf-8")
    line = refused("plan", str(record_file()), "--protocol", str(own))
    assert "protocol.toml" in line
    last = len(settings.read_text("utf-8").splitlines())
    assert any(f"{number}" in line for number in range(last - 3, last + 1))


def test_a_protocol_that_is_not_there_is_refused(refused: Refused, record_file: Write) -> None:
    assert "nowhere" in refused("plan", str(record_file()), "--protocol", "nowhere")


def test_a_sheet_is_never_written_over_the_record(refused: Refused, record_file: Write) -> None:
    path = record_file()
    before = path.read_bytes()
    assert "the record itself" in refused("sheet", str(path), "--out", str(path))
    assert path.read_bytes() == before


@pytest.mark.parametrize("out", ["no/such/folder/sheet.pdf", "."])
def test_a_place_that_can_not_be_written_to_is_refused(
    out: str, refused: Refused, record_file: Write, tmp_path: Path
) -> None:
    path = record_file()
    refused("sheet", str(path), "--out", out)
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_a_sheet_of_a_refused_record_is_not_written(
    refused: Refused, record_file: Write, tmp_path: Path
) -> None:
    path = record_file("12-li")
    assert "18 and older" in refused("sheet", str(path))
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_a_demonstration_never_touches_a_folder_that_holds_other_things(
    refused: Refused, tmp_path: Path
) -> None:
    folder = tmp_path / "papers"
    folder.mkdir()
    (folder / "thesis.txt").write_text("years of work", "utf-8")
    assert "thesis.txt" in refused("demo", "--no-serve", "--folder", str(folder))
    assert (folder / "thesis.txt").read_text("utf-8") == "years of work"
    assert [entry.name for entry in folder.iterdir()] == ["thesis.txt"]
