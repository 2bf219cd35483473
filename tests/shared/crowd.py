"""A clinic full of people, each of whom a list must tell from the one beside."""

from __future__ import annotations

from typing import Any

from followup.clinical.careplan import Caution
from followup.records.desk.attempts import note_attempt, set_standing
from followup.records.desk.leaving import mark_left
from followup.records.desk.trip_steps import book_trip, mark_arrived, mark_fulfilled, mark_noshow
from followup.records.desk.walkins import note_walk_in
from followup.records.people.patients import enter_record
from followup.records.plans.plans import end_plan, sign_plan, store_draft
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.store.sites import Site, put_site
from followup.records.tables import PatientRow
from followup.records.trips.trips import trips_of_plan
from followup.records.views import Actor

# Whoever sets a scene: every role at once, and the program itself.
EVERYBODY = Actor(
    "all",
    frozenset({"counsellor", "reception", "surgeon", "manager", "pharmacy", "program"}),
    "Dr All",
    "R-1",
)
BY_HAND = Caution(id="child", text="Under 18: plan by hand.", eye=None, level="stop")
TODAY = 10
# Each has a visit on day 7, to be made from day 5 to day 9, unless something else is said.
PEOPLE = (
    *("open", "booked", "missed", "here", "left", "seen", "seen-on-8", "ended"),
    *("died", "lost", "refused", "moved", "back", "seen-then-died", "left-then-died"),
    *("today", "tomorrow", "walk-in", "draft", "by-hand", "two-drafts", "signed-again"),
    *("printed", "no-sheet", "new-draft", "done", "elsewhere", "gone-unseen", "gone-here"),
)
HERE_ON_7 = ("here", "left", "seen", "seen-then-died", "left-then-died", "done")
# The visit's day, the first and the last of its window, of those whose visit is another.
OTHERS = {"today": (10, 8, 12), "tomorrow": (11, 11, 14), "walk-in": (30, 25, 35)}
NO_SHEET = ("draft", "by-hand", "two-drafts", "printed", "no-sheet")
STANDINGS = {
    "died": "died",
    "lost": "lost to follow-up",
    "refused": "refused",
    "moved": "moved away",
    "seen-then-died": "died",
    "left-then-died": "died",
}


class Crowd:
    """Who is in the store: ids by name, and a way to act on a day."""

    def __init__(self, ward: Any) -> None:
        self.ward = ward
        self.patients: dict[str, int] = {}
        self.plans: dict[str, int] = {}
        self.trips: dict[str, int] = {}
        self._enter()
        self._happens()

    def does(self, day: int, hours: float = 8.5) -> Any:
        return self.ward.store.write(EVERYBODY, self.ward.at(day, hours))

    def names(self, views: Any) -> list[str]:
        """The people of these views, each as often as it is there."""
        return sorted(view.patient_code for view in views)

    def owners(self, ids: Any) -> list[str]:
        """The people whose ids these are."""
        by_id = {number: name for name, number in self.patients.items()}
        return sorted(by_id[number] for number in ids)

    def of_trips(self, ids: Any) -> list[str]:
        by_id = {number: name for name, number in self.trips.items()}
        return sorted(by_id.get(number, f"visit {number}") for number in ids)

    def of_plans(self, ids: Any) -> list[str]:
        by_id = {number: name for name, number in self.plans.items()}
        return sorted(by_id.get(number, f"plan {number}") for number in ids)

    def _body(self, name: str, **more: Any) -> Any:
        on, first, last = OTHERS.get(name, (7, 5, 9))
        look = self.ward.need("look", first, last)
        given = {"needs": (look,), "trips": (self.ward.visit(1, on, look),), **more}
        if name == "by-hand":
            given |= {"status": "on-hold", "refused": (BY_HAND,), "trips": ()}
        return self.ward.body(name, **given)

    def _enter(self) -> None:
        with self.does(0) as unit:
            other = put_site(unit, Site(0, "HILL", "Hill room"))
            for name in PEOPLE:
                who = enter_record(unit, record=self.ward.record(name)).patient_id
                self.patients[name] = who
                draft = store_draft(unit, patient_id=who, record_number=1, body=self._body(name))
                self.plans[name] = draft.id
                if name in ("draft", "by-hand"):
                    continue
                if name == "two-drafts":
                    body = self._body(name)
                    self.plans[name] = store_draft(unit, patient_id=who, record_number=1, body=body).id
                    continue
                plan = sign_plan(unit, plan_id=draft.id)
                self.trips[name] = trips_of_plan(unit.session, plan.id)[0].id
                if name != "no-sheet":
                    issue_sheet(unit, plan_id=plan.id, sheet_id=f"{plan.id:010d}", language="en")
                if name not in NO_SHEET:
                    hand_over_sheet(unit, sheet_id=f"{plan.id:010d}", to="self")
            row = unit.session.get(PatientRow, self.patients["elsewhere"])
            row.site_id = other.id
            unit.session.add(row)

    def _happens(self) -> None:
        at = self.trips
        with self.does(4) as unit:
            book_trip(unit, trip_id=at["booked"], hour="09:30")
            book_trip(unit, trip_id=at["tomorrow"])
            self._attempt(unit, "open", "no answer")
        with self.does(6) as unit:
            end_plan(unit, plan_id=self.plans["ended"], completed=False, reason="operated elsewhere")
        with self.does(7) as unit:
            mark_noshow(unit, trip_id=at["missed"])
            for name in (*HERE_ON_7, "gone-unseen", "gone-here"):
                mark_arrived(unit, trip_id=at[name], nonce=f"{name} on day 7")
            for name in ("left", "left-then-died", "gone-unseen"):
                mark_left(unit, trip_id=at[name])
            for name in ("seen", "seen-then-died", "done"):
                mark_fulfilled(unit, trip_id=at[name])
            end_plan(unit, plan_id=self.plans["done"], completed=True, reason="healed")
        with self.does(8) as unit:
            mark_arrived(unit, trip_id=at["seen-on-8"], nonce="seen on day 8")
            mark_fulfilled(unit, trip_id=at["seen-on-8"])
            for name in ("signed-again", "gone-unseen", "gone-here"):
                self._again(unit, name)
            draft = self._body("new-draft", as_of=self.ward.day(8))
            who = self.patients["new-draft"]
            store_draft(unit, patient_id=who, record_number=1, body=draft)
        with self.does(9) as unit:
            for name, standing in STANDINGS.items():
                self._stands(unit, name, standing)
            self._stands(unit, "back", "moved away")
            self._attempt(unit, "booked", "no answer")
            self._attempt(unit, "open", "will come")
        with self.does(TODAY, 4) as unit:
            self._stands(unit, "back", "followed")
            self._attempt(unit, "open", "no answer", nonce="the third")
            walk = note_walk_in(
                unit, patient_id=self.patients["walk-in"], reason="red", nonce="w", signs=("pain",)
            )
            at["came without a visit"] = walk.id

    def _again(self, unit: Any, name: str) -> None:
        """A new plan with the same look from day 8 to 12, on day 12; its sheet in hand."""
        look = self.ward.need("look", 8, 12)
        body = self._body(name, needs=(look,), trips=(self.ward.visit(1, 12, look),))
        draft = store_draft(unit, patient_id=self.patients[name], record_number=1, body=body)
        self.plans[f"{name}, first"], self.trips[f"{name}, first"] = self.plans[name], self.trips[name]
        plan = sign_plan(unit, plan_id=draft.id)
        self.plans[name], self.trips[name] = plan.id, trips_of_plan(unit.session, plan.id)[0].id
        issue_sheet(unit, plan_id=plan.id, sheet_id=f"{plan.id:010d}", language="en")
        hand_over_sheet(unit, sheet_id=f"{plan.id:010d}", to="self")

    def _stands(self, unit: Any, name: str, standing: Any) -> None:
        set_standing(unit, patient_id=self.patients[name], standing=standing, reason="said so")

    def _attempt(self, unit: Any, name: str, outcome: Any, nonce: str = "") -> None:
        note_attempt(
            unit,
            patient_id=self.patients[name],
            rung=0,
            way="call",
            outcome=outcome,
            nonce=nonce or f"{name} {outcome}",
        )


def people(text: str) -> list[str]:
    """Names as they are written in a table, a line or several."""
    return sorted(name.strip() for name in text.replace("\n", ",").split(",") if name.strip())


__all__ = ["EVERYBODY", "PEOPLE", "TODAY", "Crowd", "people"]
