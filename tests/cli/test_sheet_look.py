"""``followup sheet``: how it looks, and a day's sheets in one file."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from printed import read

Write = Callable[..., Path]


def _size(path: Path) -> tuple[int, int]:
    document = pypdfium2.PdfDocument(path)
    try:
        return tuple(round(x) for x in document[0].get_size())
    finally:
        document.close()


def _text(path: Path) -> str:
    document = pypdfium2.PdfDocument(path)
    try:
        return " ".join(" ".join(page.get_textpage().get_text_bounded().split()) for page in document)
    finally:
        document.close()


def test_size_paper_second_language_and_digits_are_chosen(inside, record_file: Write, tmp_path: Path) -> None:
    path = str(record_file())
    look = ("--size", "large", "--paper", "A5", "--language", "hi", "--native-digits", "--no-calendar")
    found = inside("sheet", path, *look, "--out", "a.pdf")
    assert (found.returncode, found.stderr) == (0, "")
    assert _size(tmp_path / "a.pdf") == (420, 595)
    found = inside("sheet", path, "--language", "sw", "--twin", "en", "--pictures", "--out", "b.pdf")
    assert (found.returncode, found.stderr) == (0, "")
    assert _size(tmp_path / "b.pdf") == (595, 842)
    assert "Come at once, even without pain, if:" in _text(tmp_path / "b.pdf")
    assert "Copy for the staff" in _text(tmp_path / "b.pdf")


def test_pictures_come_by_themselves_for_someone_who_does_not_read(
    inside, record_file: Write, tmp_path: Path
) -> None:
    path = str(record_file(patient__can_read=False, patient__language="en"))
    inside("sheet", path, "--out", "drawn.pdf")
    inside("sheet", path, "--no-pictures", "--out", "plain.pdf")
    drawn, plain = (read((tmp_path / name).read_bytes()) for name in ("drawn.pdf", "plain.pdf"))
    assert all(len(one.shapes) > len(other.shapes) for one, other in zip(drawn, plain, strict=True))


def test_large_letters_and_two_languages_find_room_on_the_small_paper(
    inside, record_file: Write, tmp_path
) -> None:
    look = ("--paper", "A5", "--size", "large", "--twin", "ta", "--language", "te")
    found = inside("sheet", str(record_file()), *look, "--out", "a.pdf")
    assert (found.returncode, found.stderr) == (0, "")
    assert (tmp_path / "a.pdf").read_bytes()[:5] == b"%PDF-"


@pytest.mark.parametrize(
    "wrong",
    [
        ("--size", "huge"),
        ("--paper", "B5"),
        ("--twin", "xx"),
        ("--together",),
    ],
)
def test_a_look_that_is_not_offered_is_refused_in_one_line(
    wrong, inside, record_file: Write, tmp_path
) -> None:
    found = inside("sheet", str(record_file()), *wrong, "--out", "a.pdf")
    assert found.returncode == 2
    assert found.stderr.count("\n") == 1
    assert not (tmp_path / "a.pdf").exists()


@pytest.fixture
def sample(made: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the sample clinic's folder: printing writes into it."""
    folder = tmp_path_factory.mktemp("sample") / "clinic"
    shutil.copytree(made.folder, folder)
    return folder


def _smallest_day(sample: Path) -> tuple[str, int]:
    """The day with the fewest people operated on, but more than one."""
    with closing(sqlite3.connect(sample / "followup.sqlite3")) as database:
        people = "select day, count(distinct patient_id) as people from operation group by day"
        found = database.execute(f"select * from ({people}) where people > 1 order by people, day")
        day, count = found.fetchone()
    return day, count


def test_a_days_sheets_come_in_one_file_behind_their_list(sample: Path, inside, tmp_path: Path) -> None:
    day, people = _smallest_day(sample)
    found = inside("sheet", "--day", day, "--together", "--folder", str(sample))
    assert found.stdout == f"sheets-{day}.pdf: print it on both sides\n{people} sheets\n"
    assert (found.returncode, found.stderr) == (0, "")
    assert "Sheets of the operations of" in _text(tmp_path / f"sheets-{day}.pdf")
    again = inside("sheet", "--day", day, "--together", "--folder", str(sample))
    assert again.returncode == 2
    assert "exists already" in again.stderr
