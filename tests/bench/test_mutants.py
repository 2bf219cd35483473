"""The list of faults for the mutation run stays in step with the program."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import followup

HERE = Path(__file__).parent
MUTANTS = tomllib.loads((HERE / "mutants.toml").read_text("utf-8"))["mutant"]
AREAS = {"taper", "rules", "rounds", "trips", "supply", "lateness", "review"}


@pytest.mark.parametrize("number", range(len(MUTANTS)))
def test_a_fault_fits_its_file_at_one_place(number):
    mutant = MUTANTS[number]
    text = (Path(followup.__file__).parent / mutant["file"]).read_text("utf-8")
    assert text.count(mutant["old"]) == 1
    assert mutant["old"] != mutant["new"]
    changed = text.replace(mutant["old"], mutant["new"])
    compile(changed, mutant["file"], "exec")
    for test in mutant["tests"]:
        assert (HERE.parent / test).exists(), test


def test_forty_faults_lie_in_every_area():
    assert len(MUTANTS) >= 40
    assert {mutant["area"] for mutant in MUTANTS} == AREAS
