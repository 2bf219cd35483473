"""The age that rules and sentences go by, on the day before a birthday, on it and after it."""

from __future__ import annotations

from datetime import date

import pytest
from birthdays import AGES

from followup.clinical.protocol.aftercare_states import EyeOnDay
from followup.clinical.record import Record, parse_record
from followup.clinical.record.eye import EyeContext


def _record(on: date, **born: object) -> Record:
    operation = {"eye": "left", "eye_drawn": "left", "procedure": "phacoemulsification"}
    patient = {"code": "T-1", "name": "Invented Person", **born}
    return parse_record({"patient": patient, "operations": [{**operation, "date": on.isoformat()}]})


def _ages(record: Record, on: date) -> tuple[int, int]:
    context = EyeContext(record, 0, on)
    return context.value("derived.age_youngest"), context.value("derived.age_oldest")


@pytest.mark.parametrize(("born", "on", "years"), AGES)
def test_rules_go_by_the_whole_years_on_the_day_of_the_operation(born, on, years):
    assert _ages(_record(on, birth_date=born.isoformat()), on) == (years, years)


@pytest.mark.parametrize(
    ("on", "ages"),
    [
        (date(2026, 1, 1), (70, 71)),
        (date(2026, 6, 15), (70, 71)),
        (date(2026, 12, 30), (70, 71)),
        (date(2026, 12, 31), (71, 71)),
    ],
)
def test_of_a_year_of_birth_both_ages_are_kept_until_its_last_day(on, ages):
    assert _ages(_record(on, birth_year=1955), on) == ages


@pytest.mark.parametrize(("born", "on", "years"), AGES)
def test_a_sentence_for_some_years_of_age_begins_and_ends_on_birthdays(plan, born, on, years):
    record = _record(on, birth_date=born.isoformat())
    now = EyeOnDay(plan, record, {}, on, record.operations[0])
    assert now.may_be_aged(years, years)
    assert now.may_be_aged(0, years)
    assert now.may_be_aged(years, 120)
    assert not now.may_be_aged(0, years - 1)
    assert not now.may_be_aged(years + 1, 120)


def test_with_a_year_of_birth_a_sentence_holds_for_either_age(plan):
    on = date(2026, 6, 15)
    record = _record(on, birth_year=1955)
    now = EyeOnDay(plan, record, {}, on, record.operations[0])
    assert [now.may_be_aged(years, years) for years in (69, 70, 71, 72)] == [False, True, True, False]


@pytest.fixture
def plan():
    return None
