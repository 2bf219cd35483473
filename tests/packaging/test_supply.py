"""What the program stands on: lowest versions that are true, constraints that name all, licences, no more."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from installed import asked_for, brought_along, licence_words
from lowest import lowest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
EXTRAS = ("test", "lint")
# Whoever runs or passes on the program may do so under all of these; anything else is looked at first.
ALLOWED = {
    *("0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "MIT", "MIT-0", "MIT-CMU"),
    *("OFL-1.1", "PSF-2.0", "Zlib"),
    # A library of its own, used as it comes.
    "LGPL-3.0-only",
}
# Comes with the virtual environment of one Python and not of another: one version would not fit all.
OF_THE_ENVIRONMENT = {"setuptools"}


def _constraints() -> dict[str, Version]:
    lines = (ROOT / ".ci" / "constraints.txt").read_text("utf-8").splitlines()
    pins = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {canonicalize_name(name): Version(version) for name, version in pins}


def test_everything_that_is_asked_for_has_a_lowest_version_and_fonts_exactly_one():
    for one in asked_for(*EXTRAS):
        signs = {part.operator for part in one.specifier}
        assert signs & {">=", "=="}, f"{one.name} has no lowest version"
        if one.name.startswith("fontpkg"):
            assert signs == {"=="}, f"{one.name}: letters of another version are of another width"
    assert Version("8.4") in Requirement("click>=8.4").specifier
    # Nothing runs below: ParamType could not say what it makes, and a command without words had no error.
    (click,) = (one for one in asked_for() if one.name == "click")
    assert Version("8.3.1") not in click.specifier


def test_the_constraints_satisfy_what_is_asked_for_and_name_all_that_it_brings_along():
    pinned = _constraints()
    asked = asked_for(*EXTRAS)
    wrong = [str(one) for one in asked if pinned[canonicalize_name(one.name)] not in one.specifier]
    assert wrong == []
    assert set(brought_along(asked)) - set(pinned) == OF_THE_ENVIRONMENT & set(brought_along(asked))


def test_the_oldest_versions_are_the_bounds_themselves():
    pins = [Requirement(line) for line in lowest()]
    asked = {canonicalize_name(one.name): one for one in asked_for("test")}
    assert {canonicalize_name(one.name) for one in pins} == set(asked)
    for pin in pins:
        (version,) = (Version(part.version) for part in pin.specifier)
        assert version in asked[canonicalize_name(pin.name)].specifier


def test_every_library_that_the_program_runs_on_comes_under_a_licence_of_the_short_list():
    table = tomllib.loads((HERE / "licences.toml").read_text("utf-8"))
    told = {name: licence for part in table.values() for name, licence in part.items()}
    here = brought_along(asked_for())
    assert len(here) > 40
    assert set(here) - set(told) == set(), "say its licence in licences.toml"
    assert {part for licence in told.values() for part in re.split(" AND | OR ", licence)} <= ALLOWED


def test_the_table_of_licences_says_what_the_libraries_say_of_themselves():
    table = tomllib.loads((HERE / "licences.toml").read_text("utf-8"))
    here = brought_along(asked_for())
    said = {name: licence_words(name) for name in table["as_its_metadata_says"] if name in here}
    assert said == {name: table["as_its_metadata_says"][name] for name in said}
    for name, licence in table["in_words"].items():
        words = licence_words(name)
        assert not words or licence.partition("-")[0] in words, f"{name} says {words}"


@pytest.mark.parametrize(
    "library",
    [
        pytest.param("pyrage", id="the one that encrypts backups, where a passphrase is set"),
        pytest.param("alembic", id="the one that takes a store to a newer schema, where it is older"),
    ],
)
def test_a_library_is_loaded_only_where_it_is_needed(loaded, library):
    assert loaded
    assert library not in loaded


@pytest.fixture(scope="module")
def loaded() -> set[str]:
    """What the rooms that may need them load, in a process of its own."""
    rooms = "followup.cli.backup, followup.recall.jobs.daily, followup.desks.app"
    asked = f"import sys, {rooms}, followup.records.jobs.restoring; print(*sys.modules)"
    told = subprocess.run(
        [sys.executable, "-c", asked], check=True, cwd=ROOT, timeout=60, capture_output=True
    )
    return set(told.stdout.decode().split())
