"""The weeks after the told operations: what was seen, what the surgeon signed, what became of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.clinical.adjustments import CourseAdded, CourseEdit
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Findings, parse_findings
from followup.clinical.review.review import review
from followup.demo.cast import CASES, case
from followup.demo.looks import ToldLook, quiet, told_look
from followup.records.people.patients import newest_record, patient_by_code
from followup.records.plans.plans import plans_of
from followup.records.plans.sheets import sheets_of
from followup.records.store.journal import journal_of
from followup.records.store.store import Store
from followup.records.trips.trips import trips_of
from followup.records.views import PlanVersion, SheetView, TripView


@dataclass(frozen=True)
class Told:
    """One told patient as the sample clinic's database has it; days count from the latest operation."""

    looks: dict[int, Findings]
    plans: tuple[PlanVersion, ...]
    sheets: tuple[SheetView, ...]
    trips: tuple[TripView, ...]
    acts: tuple[str, ...]

    @property
    def signed(self) -> tuple[PlanVersion, ...]:
        """Signed versions, oldest first."""
        return tuple(plan for plan in reversed(self.plans) if plan.signed_at)

    def look_from(self, day: int) -> Findings:
        return self.looks[min(seen for seen in self.looks if seen >= day)]


@pytest.fixture
def told(store: Store) -> Callable[[int], Told]:
    def one(number: int) -> Told:
        with store.read() as session:
            patient = patient_by_code(session, f"C-{number:04d}")
            assert patient is not None
            record = newest_record(session, patient.id).record
            day0 = record.last_operation_day
            return Told(
                {(look.date - day0).days: look for look in record.reviews},
                plans_of(session, patient.id),
                sheets_of(session, patient.id),
                tuple(trip for trip in trips_of(session, patient.id) if trip.status != "cancelled"),
                tuple(entry.action for entry in journal_of(session, f"patient:{patient.code}")),
            )

    return one


def test_wanjiru_comes_on_every_day_she_should_heals_and_nothing_is_changed(told: Any) -> None:
    wanjiru = told(1)
    assert {trip.status for trip in wanjiru.trips} == {"fulfilled"}
    assert len(wanjiru.looks) == len(wanjiru.trips) == 3
    assert [look.cells for day, look in wanjiru.looks.items() if day > 3] == ["0", "0"]
    assert len(wanjiru.signed) == len(wanjiru.sheets) == 1


def test_tom_misses_a_visit_is_called_planned_again_and_seen(told: Any) -> None:
    tom = told(2)
    first, again = tom.signed
    assert "did not come" in tom.acts
    assert not again.body.questions
    missed, seen = again.body.as_of - timedelta(days=1), again.body.as_of
    day0 = first.body.as_of
    assert list(tom.looks) == [1, (seen - day0).days]
    assert (missed - day0).days not in tom.looks
    assert {trip.status for trip in tom.trips} == {"fulfilled", "booked", "proposed"}
    assert [sheet.replaced_at is None for sheet in tom.sheets] == [False, True]
    assert tom.sheets[-1].handed_over_at


def test_aminas_cells_on_day_seven_raise_the_steroid_and_her_pressure_on_day_21_gets_a_medicine(
    told: Any,
) -> None:
    amina = told(3)
    week, later = amina.look_from(6), amina.look_from(20)
    assert (week.cells, week.pressure) == ("2+", 18)
    assert (later.cells, later.pressure) == ("1+", 27)
    first, raised, treated = amina.signed
    tomorrow = week.date + timedelta(days=1)
    before, after = (plan.body.course("left:steroid").count_on(tomorrow) for plan in (first, raised))
    assert after > before
    assert any(isinstance(edit, CourseEdit) for edit in raised.edits)
    assert "dorzolamide-2" in {edit.medicine for edit in treated.edits if isinstance(edit, CourseAdded)}
    assert treated.body.last_steroid_day == raised.body.last_steroid_day
    assert [sheet.replaced_at is None for sheet in amina.sheets] == [False, False, True]
    assert amina.sheets[-1].handed_over_at is None


def test_peter_comes_unasked_with_a_hypopyon_and_no_proposal_is_taken(told: Any) -> None:
    peter = told(4)
    look = peter.look_from(4)
    assert (look.hypopyon, look.cells) == ("yes", "3+")
    assert "came without a visit" in peter.acts
    assert len(peter.signed) == 1


def test_ibrahim_is_seen_on_the_first_day_only(told: Any) -> None:
    ibrahim = told(6)
    assert list(ibrahim.looks) == [1]
    assert [trip.status for trip in ibrahim.trips].count("fulfilled") == 1


def test_graces_pressure_without_cells_ends_the_steroid(told: Any) -> None:
    grace = told(7)
    look = grace.look_from(12)
    assert (look.cells, look.pressure) == ("0", 31)
    first, second = grace.signed
    assert second.body.last_steroid_day["right"] == look.date
    assert first.body.last_steroid_day["right"] > look.date
    assert min(day for day in grace.looks if grace.looks[day].date > look.date) <= 18


def test_fatumas_cells_start_the_rescue_that_she_had_hoped_to_be_spared(told: Any) -> None:
    fatuma = told(11)
    look = fatuma.look_from(10)
    assert look.cells == "2+"
    first, second = fatuma.signed
    assert {c.state for c in first.body.courses if c.role == "steroid"} == {"stopped"}
    steroid = next(c for c in second.body.courses if c.role == "steroid" and c.state == "active")
    assert steroid.count_on(look.date) == 8
    assert len(fatuma.sheets) == 2
    assert fatuma.sheets[-1].handed_over_at is not None


def test_who_looked_stands_in_every_look(told: Any) -> None:
    for number in (1, 3, 4, 7, 11):
        assert {look.by for look in told(number).looks.values()} == {"Dr Mirela Oakhart"}


@given(st.integers(0, 2**32), st.integers(0, 120))
def test_an_eye_that_heals_gives_findings_that_the_record_takes(seed: int, day: int) -> None:
    found = parse_findings({"eye": "left", "date": "2027-03-10", **quiet(Random(seed), day)}, "a quiet look")
    assert found.cells != "0" or day >= 3
    assert found.pressure is not None


@given(st.lists(st.integers(0, 60), unique=True), st.lists(st.integers(0, 60), unique=True))
def test_a_told_look_happens_at_one_visit_at_most(starts: list[int], visits: list[int]) -> None:
    looks = [ToldLook(day) for day in starts]
    days = sorted(visits)
    used = [told_look(looks, day, days[:i]) for i, day in enumerate(days)]
    happened = [look for look in used if look is not None]
    assert len(set(map(id, happened))) == len(happened)
    assert all(look.day <= day for look, day in zip(used, days, strict=True) if look)


@pytest.mark.parametrize("name", [name for name, (_, story) in CASES.items() if story.get("looks")])
def test_the_told_looks_lie_behind_today_and_what_is_taken_is_explained(name: str) -> None:
    days_ago, story = CASES[name]
    for look in story["looks"]:
        assert look.day < days_ago
        assert bool(look.takes) == bool(look.reason)


def test_a_look_that_needs_a_senior_proposes_nothing_to_take() -> None:
    peter = case("04-peter", date(2027, 3, 10))
    (seen,) = peter.looks
    day = peter.operated + timedelta(days=4)
    found = {**quiet(Random(1), 4), **seen.found, "eye": peter.eye, "date": day.isoformat()}
    outcome = review(peter.record, load_protocol(), parse_findings(found, "a told look"))
    assert outcome.senior
    assert outcome.proposals == ()
