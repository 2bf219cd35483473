"""What goes in, what comes out, and that the same in gives the same out.

``followup`` is the installed program, started anew; what does not need that runs ``inside`` this process.
"""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from followup import __version__
from followup.cli import COMMANDS
from followup.clinical.careplan import CarePlan
from followup.demo.cast import case_data

Run = Callable[..., subprocess.CompletedProcess[str]]
Write = Callable[..., Path]


def test_help_names_every_command_and_each_explains_itself(followup: Run) -> None:
    whole = followup("--help")
    assert (whole.returncode, whole.stderr) == (0, "")
    assert all(f"\n  {name} " in whole.stdout for name in COMMANDS)
    one = followup("plan", "--help")
    assert (one.returncode, one.stderr) == (0, "")
    assert "--as-of" in one.stdout


def test_the_version_is_told(followup: Run) -> None:
    assert followup("--version").stdout == f"followup {__version__}\n"


def test_a_record_gives_the_whole_plan_as_text(followup: Run, record_file: Write) -> None:
    found = followup("plan", str(record_file()))
    assert (found.returncode, found.stderr) == (0, "")
    assert "  Tue 3 Mar to Mon 9 Mar    1–7    N A S A S   N A S A S\n" in found.stdout
    assert "not approved for patients" in found.stdout


def test_a_record_gives_the_same_plan_as_json_with_every_reason(inside: Run, record_file: Write) -> None:
    path = str(record_file("03-amina"))
    found = inside("plan", path, "--json")
    assert (found.returncode, found.stderr) == (0, "")
    made = CarePlan.model_validate_json(found.stdout)
    assert all(course.reasons for course in made.courses if not course.from_before)
    assert all(reason.source and reason.mark for c in made.courses for reason in c.reasons)
    jsonschema.validate(json.loads(found.stdout), json.loads(inside("schema", "plan").stdout))


def test_the_same_record_gives_the_same_bytes_under_any_locale_and_hash_seed(
    followup: Run, record_file: Write
) -> None:
    path = str(record_file("04-peter"))
    first = followup("plan", path, "--json", PYTHONHASHSEED="1")
    second = followup("plan", path, "--json", PYTHONHASHSEED="2", LC_ALL="C", PYTHONUTF8="0", TZ="Asia/Tokyo")
    assert first.returncode == 0
    assert first.stdout == second.stdout


def test_a_record_can_come_from_standard_input(followup: Run, inside: Run, record_file: Write) -> None:
    path = record_file()
    piped = followup("plan", "-", stdin=path.read_text("utf-8"))
    assert piped.stdout == inside("plan", str(path)).stdout != ""


def test_without_as_of_the_plan_is_made_for_the_last_operations_day(inside: Run, record_file: Write) -> None:
    path = str(record_file("05-lakshmi"))
    given = inside("plan", path, "--as-of", "2026-03-02")
    assert inside("plan", path).stdout == given.stdout
    assert "Plan as of Monday 2 March 2026" in given.stdout


def test_a_calendar_moves_the_visits_off_closed_days(inside: Run, record_file: Write, tmp_path: Path) -> None:
    calendar = tmp_path / "calendar.json"
    calendar.write_text(json.dumps({"holidays": ["2026-03-09"]}), "utf-8")
    found = inside("plan", str(record_file()), "--calendar", str(calendar), "--json")
    assert found.returncode == 0
    days = [str(trip.date) for trip in CarePlan.model_validate_json(found.stdout).trips]
    assert "2026-03-09" not in days
    assert len(days) == 3


def test_a_childs_record_prints_what_to_do_by_hand_and_is_refused(inside: Run, record_file: Write) -> None:
    found = inside("plan", str(record_file("12-li")))
    assert found.returncode == 2
    assert "to be made by hand" in found.stdout
    assert found.stderr.count("\n") == 1
    assert "18 and older" in found.stderr
    as_json = inside("plan", str(record_file("12-li")), "--json")
    assert as_json.returncode == 2
    assert CarePlan.model_validate_json(as_json.stdout).status == "on-hold"


@pytest.mark.parametrize("name", ["calendar", "findings", "plan", "record"])
def test_every_schema_is_a_json_schema(name: str, inside: Run) -> None:
    found = inside("schema", name)
    assert (found.returncode, found.stderr) == (0, "")
    jsonschema.Draft202012Validator.check_schema(json.loads(found.stdout))


def test_the_record_schema_takes_the_told_cases_and_refuses_an_unknown_field(inside: Run) -> None:
    validator = jsonschema.Draft202012Validator(json.loads(inside("schema", "record").stdout))
    record = case_data("06-ibrahim")
    assert list(validator.iter_errors(record)) == []
    record["patient"]["shoe_size"] = 44
    assert list(validator.iter_errors(record))


def test_a_record_gives_a_draft_sheet_and_leaves_what_was_there(
    followup: Run, record_file: Write, tmp_path: Path
) -> None:
    path = str(record_file("08-rafiq"))
    found = followup("sheet", path, "--language", "bn")
    assert (found.returncode, found.stderr) == (0, "")
    assert "a draft, not for the patient" in found.stdout
    (written,) = tmp_path.glob("*.pdf")
    assert written.read_bytes().startswith(b"%PDF")
    before = written.read_bytes()
    again = followup("sheet", path)
    assert again.returncode == 2
    assert written.read_bytes() == before


def test_the_sheet_can_be_one_page_for_a_phone(inside: Run, record_file: Write, tmp_path: Path) -> None:
    found = inside("sheet", str(record_file()), "--html", "--language", "ar", "--out", "page.html")
    assert (found.returncode, found.stderr) == (0, "")
    page = (tmp_path / "page.html").read_text("utf-8")
    assert 'dir="rtl"' in page
    assert 'src="http' not in page


def test_a_language_without_words_prints_english_and_says_so(
    inside: Run, record_file: Write, tmp_path: Path
) -> None:
    found = inside("sheet", str(record_file(patient__language="yo")), "--out", "sheet.pdf")
    assert found.returncode == 0
    assert "English" in found.stdout


@pytest.mark.parametrize("tail", ["| head -c 1", "> /dev/full", ">&-"])
def test_output_that_nobody_takes_is_a_fault_said_in_one_line(
    tail: str, record_file: Write, program: Path, environment: dict[str, str]
) -> None:
    path = record_file("03-amina")
    # The pipe's reader must be gone before the plan is written, so the record comes late.
    feed = f"(sleep 1; cat '{path}')" if "head" in tail else f"cat '{path}'"
    tail = "| true" if "head" in tail else tail
    script = f"set -o pipefail; {feed} | '{program}' plan - --json {tail}"
    found = subprocess.run(
        ["bash", "-c", script], capture_output=True, text=True, env=environment, check=False, timeout=60
    )
    assert found.returncode == 1, found.stderr
    assert found.stderr.count("\n") == 1
    assert "could not be written whole" in found.stderr


def test_the_readme_shows_the_plan_as_it_is(inside: Run, record_file: Write) -> None:
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    shown = readme.split("01-wanjiru.json\n", 1)[1].split("```", 1)[0].splitlines()
    lines = inside("plan", str(record_file("01-wanjiru"))).stdout.splitlines()
    places = [lines.index(line) for line in shown if line.strip() not in ("", "...")]
    assert len(places) > 20
    assert places == sorted(places)
