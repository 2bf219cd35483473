"""The age on a sheet, by which it is told whose it is."""

from __future__ import annotations

import re
from datetime import date

import pytest
from birthdays import AGES

from followup.language.direction import without_marks

DRAFT = {"issue": None}


@pytest.mark.parametrize(("born", "on", "years"), AGES)
def test_a_sheet_has_the_age_on_the_day_of_printing(born, on, years, make_content, make_record):
    content = make_content(record=make_record(birth_date=born.isoformat()), printed_on=on, **DRAFT)
    assert content.who.age == f"{years} years old"


@pytest.mark.parametrize(
    ("born", "age"), [(2025, "0-1 year old"), (2026, "0 years old"), (1955, "70-71 years old")]
)
def test_with_a_year_of_birth_a_sheet_has_both_ages_that_are_possible(born, age, make_content, make_record):
    record = make_record(birth_date=None, birth_year=born)
    assert make_content(record=record, printed_on=date(2026, 6, 1), **DRAFT).who.age == age


@pytest.mark.parametrize("tag", ["ar", "ur", "hi", "bn", "sw"])
def test_the_figure_is_the_same_in_every_language(tag, make_content, make_record):
    record = make_record(birth_date="1955-06-02")
    for on, years in ((date(2026, 6, 1), 70), (date(2026, 6, 2), 71)):
        age = make_content(language=tag, record=record, printed_on=on, **DRAFT).who.age
        assert re.findall(r"\d+", without_marks(age)) == [str(years)]
