"""``followup language``: the state of the languages, and a reviewer's table out and in."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from followup.language import catalogue_files as files
from followup.language.languages import LANGUAGES, Language

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """The clinic's data folder, which the program in these tests knows from the environment."""
    folder = tmp_path / "data"
    folder.mkdir()
    return folder


@pytest.fixture
def table(inside: Run, tmp_path: Path) -> Path:
    found = inside("language", "export", "hi", "hi.csv")
    assert (found.returncode, found.stderr) == (0, "")
    return tmp_path / "hi.csv"


def _of_languages(told: str) -> list[str]:
    """The lines of the languages, without what is said of their messages below them."""
    return [line for line in told.splitlines() if not line.startswith(" ")]


def test_check_names_every_language_in_itself_and_whether_somebody_read_it(followup: Run) -> None:
    found = followup("language", "check")
    assert (found.returncode, found.stderr) == (0, "")
    lines = _of_languages(found.stdout)
    assert len(lines) == len(LANGUAGES) - 1
    assert all(line.endswith("a draft, not read yet") for line in lines)
    assert any(line.startswith("te  తెలుగు (Telugu): ") for line in lines)


def test_check_names_what_the_staff_still_read_in_english(
    inside: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    shipped = files.shipped

    def lacking(spoken: Language, domain: files.Domain) -> files.Loaded | None:
        found = shipped(spoken, domain)
        if found is None or (spoken.tag, domain) != ("fr", "desk"):
            return found
        left = {key: forms for key, forms in found.messages.items() if key != (None, "right eye")}
        return files.Loaded(left, found.review)

    before = inside("language", "check", "fr").stdout.splitlines()
    monkeypatch.setattr(files, "shipped", lacking)
    french, swahili = (inside("language", "check", tag) for tag in ("fr", "sw"))
    assert (french.returncode, swahili.returncode) == (0, 0)
    named = [line for line in french.stdout.splitlines() if line not in before]
    assert named == ["    staff's pages, in English: 'right eye'"]
    assert len(swahili.stdout.splitlines()) == 1


def test_a_read_table_is_taken_and_the_language_is_no_draft_any_more(
    inside: Run, table: Path, data: Path
) -> None:
    changed = table.read_text("utf-8-sig").replace("\nAt home,घर पर,", "\nAt home,अपने घर में,")
    table.write_text(changed, "utf-8")
    found = inside("language", "import", "hi", "hi.csv", "--reviewer", "Mira Example", "--on", "2026-11-20")
    assert (found.returncode, found.stderr) == (0, "")
    assert found.stdout.startswith(f"{data}/locales/hi/LC_MESSAGES/sheet.po: hi  हिन्दी (Hindi): ")
    assert found.stdout.endswith("read by Mira Example on 2026-11-20\n")
    state = inside("language", "check", "hi")
    assert _of_languages(state.stdout)[0].endswith("read by Mira Example on 2026-11-20")
    again = inside("language", "export", "hi", "again.csv")
    assert again.returncode == 0
    assert (table.parent / "again.csv").read_text("utf-8-sig").splitlines() == changed.splitlines()


def test_without_a_reviewer_it_stays_a_draft(inside: Run, table: Path, data: Path) -> None:
    found = inside("language", "import", "hi", str(table))
    assert (found.returncode, found.stderr) == (0, "")
    assert found.stdout.endswith("a draft, not read yet\n")
    assert list(data.rglob("*.po"))


def test_a_faulty_row_is_named_and_nothing_is_changed(inside: Run, table: Path, data: Path) -> None:
    table.write_text(table.read_text("utf-8").replace(",पर्चा नंबर %(number)s,", ",पर्चा नंबर,"), "utf-8")
    row = next(
        n for n, line in enumerate(table.read_text("utf-8").splitlines(), 1) if line.startswith("Sheet no.")
    )
    found = inside("language", "import", "hi", "hi.csv")
    assert (found.returncode, found.stdout) == (2, "")
    assert found.stderr.startswith(f"followup: hi.csv, row {row}: the translation of 'Sheet no. %(number)s' ")
    assert "lacks the placeholder %(number)s" in found.stderr
    assert found.stderr.count("\n") == 1
    assert list(data.rglob("*")) == []


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (("check", "xx"), "no sheet language 'xx'"),
        (("export", "en", "en.csv"), "English is what the others are translated from"),
        (("export", "hi", "no/such/folder/hi.csv"), "No such file or directory"),
        (("import", "hi", "missing.csv"), "No such file or directory"),
        (("import", "hi", "hi.csv", "--reviewer", "Mira"), "Give --reviewer and --on together"),
        (("import", "hi", "hi.csv", "--on", "2026-11-20"), "Give --reviewer and --on together"),
        (("import", "hi", "hi.csv", "--reviewer", 'M"', "--on", "2026-11-20"), "is not a name"),
        (("import", "hi", "hi.csv", "--reviewer", "Mira", "--on", "2190-01-01"), "has not come yet"),
        (("import", "ne", "hi.csv"), "row 2: the translation of"),
        (("import", "hi", "hi.csv", "--folder", "nowhere"), "no clinic is set up here"),
    ],
)
def test_what_can_not_be_done_ends_with_one_line(
    inside: Run, table: Path, data: Path, arguments: tuple[str, ...], what: str
) -> None:
    if arguments[:2] == ("import", "ne"):
        # A Hindi table for Nepali: the words for left and right give it away, whatever the script.
        what = "the translation of"
    found = inside("language", *arguments)
    assert (found.returncode, found.stdout) == (2, "")
    assert what in found.stderr
    assert found.stderr.count("\n") == 1
    assert list(data.rglob("*.po")) == []


def test_a_damaged_file_of_the_clinic_is_named_and_the_other_languages_are_still_told(
    inside: Run, table: Path, data: Path
) -> None:
    assert inside("language", "import", "hi", "hi.csv").returncode == 0
    path = next(data.rglob("*.po"))
    path.write_text(path.read_text("utf-8").replace('"बाईं आँख"', '"दाईं आँख"'), "utf-8")
    found = inside("language", "check")
    assert found.returncode == 2
    assert found.stderr == "followup: 1 message is not fit to print\n"
    assert (
        f"{path}: the clinic's own Hindi catalogue: 'Left eye' lacks the word for 'left eye'" in found.stdout
    )
    assert len(_of_languages(found.stdout)) == len(LANGUAGES) - 1
