"""The checkout itself: what lies where, what the README promises, what no file may name."""

from __future__ import annotations

import ast
import fnmatch
import re
import subprocess
import tomllib
from pathlib import Path

import pytest

from followup.settings import PREFIX, Settings

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "README.md",
    "followup",
    "locales",
    "pyproject.toml",
    "templates",
    "tests",
}
TEXTS = {".py", ".md", ".toml", ".html", ".typ", ".po", ".css", ".js", ".json", ".mako", ".svg", ".txt", ""}


def ignored() -> list[str]:
    lines = (ROOT / ".gitignore").read_text("utf-8").split()
    return [line.rstrip("/") for line in lines] + [".git"]


def texts() -> list[Path]:
    """Every text file of the project, generated ones left out."""
    skip = ignored()
    found = [
        path
        for path in sorted(ROOT.rglob("*"))
        if path.is_file()
        and path.suffix in TEXTS
        and not any(fnmatch.fnmatch(part, rule) for part in path.relative_to(ROOT).parts for rule in skip)
    ]
    assert len(found) > 50
    return found


def commands(text: str) -> list[str]:
    """The shell lines of a document's fenced sh blocks."""
    return [line for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL) for line in block.splitlines()]


def test_nothing_lies_at_the_top_but_the_named_entries() -> None:
    entries = {path.name for path in ROOT.iterdir()}
    assert {name for name in entries if not any(fnmatch.fnmatch(name, rule) for rule in ignored())} == TOP


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    lines = (ROOT / "README.md").read_text("utf-8").splitlines()
    assert lines[0].startswith("# ")
    paragraph = " ".join(lines[2 : lines.index("", 2)])
    assert not paragraph.startswith(("#", "-", "```"))
    assert 40 <= len(paragraph.split()) <= 120
    for word in ("cataract", "taper", "bottles", "visits", "sheet"):
        assert word in paragraph


def test_readme_gives_two_commands_and_the_checks_run_the_second_as_it_stands() -> None:
    first, second = commands((ROOT / "README.md").read_text("utf-8"))[:2]
    assert "followup demo" in first
    assert "pytest" in second
    assert second in (ROOT / ".ci" / "run").read_text("utf-8").splitlines()


def test_the_checks_are_a_bash_script_that_parses_and_stops_at_the_first_failure() -> None:
    script = ROOT / ".ci" / "run"
    text = script.read_text("utf-8")
    assert text.startswith("#!/usr/bin/env bash\n")
    assert "set -euo pipefail" in text
    assert "set +e" not in text
    assert "|| true" not in text
    assert subprocess.run(["bash", "-n", str(script)], check=False).returncode == 0
    for tool in ("ruff check", "ruff format --check", "mypy", "lint-imports"):
        assert tool in text


def test_no_file_names_a_machine_it_was_written_on() -> None:
    machine = re.compile("/(" + "|".join(("work", "root", "home", "Users")) + r")/[\w.]")
    guilty = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for path in texts()
        for match in [machine.search(path.read_text("utf-8"))]
        if match
    ]
    assert guilty == []


def test_every_test_that_the_hazard_log_names_exists() -> None:
    log = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    named = set(re.findall(r"\btest_[a-z0-9_]+(?=`)", log))
    defined = {
        name
        for path in (ROOT / "tests").rglob("test_*.py")
        for name in re.findall(r"^\s*(?:async )?def (test_\w+)", path.read_text("utf-8"), re.MULTILINE)
    } | {path.stem for path in (ROOT / "tests").rglob("test_*.py")}
    assert len(named) >= 15
    assert named - defined == set()


def test_every_setting_stands_in_the_developers_table_in_its_own_words() -> None:
    told = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    lines = [
        f"| `{PREFIX}{name.upper()}` | {one.description} |" for name, one in Settings.model_fields.items()
    ]
    assert [line for line in lines if line not in told] == []


def test_no_source_file_is_longer_than_five_hundred_lines() -> None:
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text("utf-8").splitlines())
        for path in texts()
        if path.suffix == ".py"
    }
    assert {name: lines for name, lines in lengths.items() if lines > 500} == {}


@pytest.mark.parametrize("group", ["test", "lint"])
def test_the_extras_that_the_readme_installs_exist(group: str) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["optional-dependencies"][group]
    assert project["requires-python"] == ">=3.11"


def test_no_line_of_a_template_needs_scrolling_sideways() -> None:
    kinds = {".html", ".typ", ".css", ".js"}
    lines = [
        (path.relative_to(ROOT).as_posix(), number, len(line))
        for path in sorted((ROOT / "templates").rglob("*"))
        if path.suffix in kinds
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
    ]
    assert len(lines) > 2000
    assert [(name, number) for name, number, length in lines if length > 140] == []


def test_no_two_classes_of_the_house_have_one_name() -> None:
    """Those that programs are sent have the names of the interface, whatever else is called so."""
    places: dict[str, list[str]] = {}
    for path in sorted((ROOT / "followup").rglob("*.py")):
        place = path.relative_to(ROOT).as_posix()
        if not place.startswith("followup/desks/api/"):
            for part in ast.parse(path.read_text("utf-8")).body:
                if isinstance(part, ast.ClassDef) and not part.name.startswith("_"):
                    places.setdefault(part.name, []).append(place)
    assert len(places) > 400
    assert {name: where for name, where in places.items() if len(where) > 1} == {}
