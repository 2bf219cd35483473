"""Which visit of a new plan a calendar knows already, and how often what it knows has changed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from routine_plans import course, day, routine_plan

from followup.exchange.agenda.revisions import ToldPlan, changes_of_drops, revision_of
from followup.exchange.agenda.same_visit import through_plans
from followup.records.store.journal import JournalEntry
from followup.records.views import TripView

DAY0 = date(2026, 6, 1)
AT = datetime(2026, 6, 1, 9, tzinfo=UTC)


def trip(number: int, plan: int, on: int, *looks: str, status: str = "cancelled", **more) -> TripView:
    """A visit on day ``on``; those of a replaced plan are cancelled."""
    given = {
        "id": number, "patient_id": 1, "patient_code": "N-1", "patient_name": "Invented Person",
        "plan_id": plan, "number": number, "day": DAY0 + timedelta(days=on),
        "window_start": DAY0 + timedelta(days=on), "window_end": DAY0 + timedelta(days=on + 3),
        "status": status, "serves": looks, "services": ("doctor",), "tier": "C", "cannot_move": False,
        "overbooked": (), "arrived_at": None, "seen_on": None, "fulfilled_at": None, "served": (),
        "ended_reason": None, "ended_at": AT if status == "cancelled" else None,
    }  # fmt: skip
    return TripView(**(given | more))


def roots(*trips: TripView) -> dict[int, int]:
    """Each visit as it is now, by the number of its first plan."""
    return {visit.now.id: visit.root for visit in through_plans(trips)}


def test_a_visit_on_the_same_day_and_one_that_looks_at_the_same_keep_their_names():
    old = trip(1, 1, 7, "right:wound"), trip(2, 1, 30, "right:refraction"), trip(3, 1, 90, "right:macula")
    new = (
        trip(4, 2, 7, "right:look", status="proposed"),
        trip(5, 2, 36, "right:refraction", status="proposed"),
    )
    assert roots(*old, *new) == {4: 1, 5: 2, 3: 3}


def test_of_two_old_visits_that_become_one_the_other_is_cancelled():
    old = trip(1, 1, 7, "right:wound"), trip(2, 1, 9, "right:wound", "right:iris")
    assert roots(*old, trip(3, 2, 12, "right:wound", "right:iris", status="booked")) == {1: 1, 3: 2}
    # The day says more than what is looked at.
    assert roots(*old, trip(3, 2, 7, "right:iris", status="booked")) == {3: 1, 2: 2}


def test_what_took_place_goes_on_in_no_other_visit_and_a_plan_between_ends_a_name():
    seen = trip(1, 1, 7, "right:wound", status="fulfilled")
    assert roots(seen, trip(2, 2, 14, "right:wound", status="proposed")) == {1: 1, 2: 2}
    gone = trip(1, 1, 7, "right:wound"), trip(2, 2, 30, "right:retina")
    assert roots(*gone, trip(3, 3, 7, "right:wound", status="proposed")) == {1: 1, 2: 2, 3: 3}


def test_a_name_lasts_through_three_plans_and_who_came_without_a_visit_is_none():
    three = trip(1, 1, 7, "a"), trip(2, 2, 8, "a"), trip(3, 3, 9, "a", status="booked")
    walked_in = trip(9, 3, 4, status="arrived", services=())
    assert roots(*three, walked_in) == {3: 1}


def entry(number: int, action: str, **details) -> JournalEntry:
    return JournalEntry(number, AT + timedelta(hours=number), "reception", action, details)


def test_each_move_hour_step_taken_back_and_new_plan_raises_the_count_and_an_arrival_does_not():
    (visit,) = through_plans([trip(1, 1, 7, "a"), trip(2, 2, 8, "a", status="booked")])
    unknown = datetime(2026, 6, 9, tzinfo=UTC)
    assert (revision_of(visit, []).sequence, revision_of(visit, []).at) == (1, unknown)
    entries = [entry(1, "plan signed", id=1), entry(5, "plan signed", id=2)]
    assert revision_of(visit, entries).sequence == 1
    entries += [
        entry(6, "visit moved", trip=2),
        entry(7, "visit booked", trip=2),
        entry(8, "visit moved", trip=77),
    ]
    told = revision_of(visit, entries)
    assert (told.sequence, told.at) == (3, AT + timedelta(hours=7))
    entries += [entry(9, "taken back", entry=7, what="visit booked"), entry(10, "taken back", entry=8)]
    told = revision_of(visit, entries)
    assert (told.sequence, told.at) == (4, AT + timedelta(hours=9))
    assert revision_of(visit, [*entries, entry(11, "arrived", trip=2)]) == told


def test_the_end_of_a_visit_is_a_change():
    ended = AT + timedelta(days=2)
    (open_one,) = through_plans([trip(1, 1, 7, "a", status="proposed")])
    (gone,) = through_plans([trip(1, 1, 7, "a", ended_at=ended)])
    entries = [entry(1, "plan signed", id=1)]
    assert revision_of(open_one, entries).sequence == 0
    assert (revision_of(gone, entries).sequence, revision_of(gone, entries).at) == (1, ended)


def told_plan(
    *steps: tuple[int, int], signed: int, handed: int | None = None, ended: int | None = None
) -> ToldPlan:
    at = [None if hours is None else AT + timedelta(hours=hours) for hours in (signed, handed, ended)]
    return ToldPlan(plan_of(*steps), *at)


def plan_of(*steps: tuple[int, int]):
    return routine_plan(courses=(course("right:steroid", "steroid", "dexamethasone-0-1", *steps),))


def changes(*plans: ToldPlan) -> dict[int, tuple[bool, int]]:
    return {(one.day - day(0)).days: (one.stands, one.revision.sequence) for one in changes_of_drops(plans)}


def test_a_change_of_drops_is_told_once_the_sheet_is_in_the_patients_hands_and_taken_back_with_its_plan():
    taper = ((4, 7), (3, 7))
    # Drops begin on day 1: on day 8 they become three, on day 15 none.
    assert changes(told_plan(*taper, signed=0)) == {}
    assert changes(told_plan(*taper, signed=0, handed=1)) == {8: (True, 0), 15: (True, 0)}
    old = told_plan(*taper, signed=0, handed=1, ended=5)
    assert changes(old) == {8: (False, 1), 15: (False, 1)}
    longer = ((4, 7), (3, 14))
    assert changes(old, told_plan(*longer, signed=5)) == {8: (False, 1), 15: (False, 1)}
    assert changes(old, told_plan(*longer, signed=5, handed=6)) == {
        8: (True, 2),
        15: (False, 1),
        22: (True, 0),
    }
