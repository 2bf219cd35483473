"""A closed window can be decided, and the decision stands; a calendar says what closed days mean."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from followup.clinical.adjustments import CourseEdit, NeedAdded
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record
from followup.errors import FollowupError
from followup.timing.calendar import parse_calendar

SAMPLE = load_protocol()
FRIDAY = "2026-03-06"
WEEKDAYS = ["monday", "tuesday", "wednesday", "thursday", "friday"]
ON_CALL = {"first_look": "on call", "place": "Ward 3, side door", "opens": "09:00", "closes": "11:00"}
CLOSED_WEEKEND = {"open_weekdays": WEEKDAYS}


def plan_of(record, calendar=None, as_of=None, **more):
    parsed = parse_record(record)
    return build_plan(
        parsed,
        SAMPLE,
        as_of=as_of or parsed.last_operation_day,
        calendar=parse_calendar(calendar or {}),
        **more,
    )


def decide(plan, after=True):
    """What the surgeon would say of everything that can't be kept, each for the offered day."""
    found = []
    for item in plan.impossible:
        day = (item.after or item.before) if after else (item.before or item.after)
        entry = {"need": item.need, "why": "no day sooner", "by": "the surgeon"}
        if day:
            entry["day"] = day.isoformat()
        if item.earliest:
            entry |= {"earliest": item.earliest.isoformat(), "latest": item.latest.isoformat()}
        found.append(entry)
    return found


def decided_all(record, calendar, **more):
    """Decide until nothing is left: a decision may bring to light what it does to another look."""
    for _ in range(6):
        plan = plan_of(record, calendar, **more)
        if not plan.impossible:
            break
        record = record | {"decisions": [*record.get("decisions", []), *decide(plan)]}
    return record, plan


def test_a_closed_window_is_decided_for_the_offered_day_and_the_plan_can_be_signed(someone):
    record = someone(operation={"date": FRIDAY})
    before = plan_of(record, CLOSED_WEEKEND)
    (item,) = before.impossible
    assert (item.before, item.after) == (date(2026, 3, 6), date(2026, 3, 9))
    assert (item.kind, item.eye, item.earliest) == ("first-look", "right", date(2026, 3, 7))
    assert not before.signable
    after = plan_of(record | {"decisions": decide(before)}, CLOSED_WEEKEND)
    assert after.signable
    trip = next(t for t in after.trips if "right:first-look" in t.serves)
    assert (trip.date, trip.decided, trip.window_end) == (date(2026, 3, 9), True, date(2026, 3, 9))
    (line,) = after.decided
    assert (line.day, line.why, line.by) == (date(2026, 3, 9), "no day sooner", "the surgeon")
    assert (line.earliest, line.latest) == (date(2026, 3, 7), date(2026, 3, 8))


@pytest.mark.parametrize("as_of", [6, 7, 8, 9])
def test_a_decided_visit_stands_in_every_plan_made_again(someone, as_of):
    record = someone(operation={"date": FRIDAY})
    record["decisions"] = decide(plan_of(record, CLOSED_WEEKEND))
    for calendar in (CLOSED_WEEKEND, {}, {"open_weekdays": ["friday"]}):
        again = plan_of(record, calendar, as_of=date(2026, 3, as_of))
        assert date(2026, 3, 9) in [t.date for t in again.trips if t.decided]


def test_a_decided_look_of_which_nobody_writes_is_asked_about(someone):
    record = someone(operation={"date": FRIDAY})
    record["decisions"] = decide(plan_of(record, CLOSED_WEEKEND))
    later = plan_of(record, CLOSED_WEEKEND, as_of=date(2026, 3, 10))
    assert "done-right-first-look" in {q.id for q in later.questions if q.blocks}
    record["trips"] = [{"date": "2026-03-09", "status": "fulfilled"}]
    done = plan_of(record, CLOSED_WEEKEND, as_of=date(2026, 3, 10))
    assert next(n for n in done.needs if n.key == "right:first-look").served_on == date(2026, 3, 9)
    assert done.signable


def test_a_look_in_its_own_window_before_the_decided_day_counts(someone):
    record = someone(operation={"date": FRIDAY})
    record["decisions"] = decide(plan_of(record, CLOSED_WEEKEND))
    record["reviews"] = [{"eye": "right", "date": "2026-03-07", "cells": "1+", "pressure": 14}]
    seen = plan_of(record, CLOSED_WEEKEND, as_of=date(2026, 3, 8))
    assert next(n for n in seen.needs if n.key == "right:first-look").served_on == date(2026, 3, 7)


def test_where_the_window_is_another_now_the_visit_stays_and_the_look_is_planned_anew(someone):
    record = someone(operation={"date": FRIDAY})
    told = {"need": "right:pressure-on-steroid", "day": "2026-04-20", "why": "machine away"}
    record["decisions"] = [told | {"earliest": "2026-03-16", "latest": "2026-04-01"}]
    plan = plan_of(record)
    assert date(2026, 4, 20) in [t.date for t in plan.trips if t.decided]
    served = next(t for t in plan.trips if "right:pressure-on-steroid" in t.serves)
    need = next(n for n in plan.needs if n.key == "right:pressure-on-steroid")
    assert need.earliest <= served.date <= need.latest
    assert any("another window" in line for line in plan.notices)


def test_without_any_offered_day_the_gap_itself_is_named_and_signed(someone):
    record = someone(operation={"date": FRIDAY}, eye={"epiretinal_membrane": True})
    never = {"services": [{"name": "macula", "dates": []}]}
    plan = plan_of(record, never)
    assert [(i.before, i.after) for i in plan.impossible] == [(None, None)] * 2
    signed = plan_of(record | {"decisions": decide(plan)}, never)
    assert signed.signable
    assert [(d.need, d.day) for d in signed.decided] == [("right:macula-1", None), ("right:macula-2", None)]
    assert {n.state for n in signed.needs if n.kind == "macula"} == {"impossible"}
    # As soon as a day is offered the look is planned, whatever was signed.
    weekly = {"services": [{"name": "macula", "weekdays": ["tuesday"]}]}
    later = plan_of(record | {"decisions": decide(plan)}, weekly)
    assert later.decided == ()
    assert sum(t.serves.count("right:macula-1") for t in later.trips) == 1


def test_no_day_is_no_answer_while_a_day_is_offered(someone):
    record = someone(operation={"date": FRIDAY})
    record["decisions"] = [{"need": "right:first-look", "why": "not needed, I think"}]
    plan = plan_of(record, CLOSED_WEEKEND)
    assert [i.need for i in plan.impossible] == ["right:first-look"]
    assert not plan.signable


def test_a_raise_of_steroid_is_signed_although_a_service_has_no_day(someone):
    """The change that the eye needs; the looks that go with it named, decided and signed with it."""
    record = someone(
        eye={"glaucoma": True},
        operation={"date": "2026-03-05"},
        trips=[{"date": "2026-03-06", "status": "fulfilled"}],
    )
    calendar = {
        "services": [{"name": "pressure", "dates": ["2026-05-04", "2026-06-08"]}],
        "holidays": [(date(2026, 3, 13) + timedelta(days=n)).isoformat() for n in range(10)],
    }
    as_of = date(2026, 3, 12)
    record["reviews"] = [{"eye": "right", "date": "2026-03-12", "cells": "2+", "pressure": 17}]
    edits = (
        CourseEdit(
            course="right:steroid", starts=as_of, steps=((8, 7), (6, 7), (5, 7)), reason="2+", by="Dr A"
        ),
        NeedAdded(
            eye="right",
            need="inflammation",
            earliest=date(2026, 3, 14),
            target=date(2026, 3, 15),
            latest=date(2026, 3, 16),
            reason="after the raise",
            by="Dr A",
        ),
    )
    draft = plan_of(record, calendar, as_of=as_of, edits=edits)
    broken = {item.need for item in draft.impossible}
    assert "right:added-1-inflammation" in broken
    assert any("pressure-gap" in key for key in broken)
    record, plan = decided_all(record, calendar, as_of=as_of, edits=edits)
    assert plan.impossible == ()
    assert plan.signable
    assert broken <= {line.need for line in plan.decided}
    assert next(c for c in plan.courses if c.key == "right:steroid").count_on(as_of) == 8


def test_a_visit_that_cannot_move_and_lies_on_a_closed_day_can_be_decided(someone):
    record = someone(
        operation={"date": FRIDAY}, trips=[{"date": "2026-03-14", "status": "booked", "cannot_move": True}]
    )
    calendar = {"holidays": ["2026-03-14"]}
    plan = plan_of(record, calendar)
    assert [i.need for i in plan.impossible] == ["trip:2026-03-14"]
    record["decisions"] = decide(plan)
    again = plan_of(record, calendar)
    assert again.signable
    assert date(2026, 3, 15) in [t.date for t in again.trips if t.decided]


# ---- looks at another clinic --------------------------------------------------------------------


def test_a_look_at_another_clinic_is_named_with_its_place_and_counts(someone):
    record = someone(operation={"date": FRIDAY}, travel={"hours": 6})
    away = {"need": "right:wound", "day": "2026-03-13", "place": "District eye unit", "why": "home is far"}
    record["decisions"] = [away]
    plan = plan_of(record, CLOSED_WEEKEND | {"closed_days": ON_CALL})
    trip = next(t for t in plan.trips if "right:wound" in t.serves)
    assert (trip.date, trip.place, trip.serves) == (date(2026, 3, 13), "District eye unit", ("right:wound",))
    assert plan.signable
    assert [c.id for c in plan.cautions if c.id == "very-far"]


def test_nothing_of_this_clinic_is_planned_on_a_day_at_another(someone):
    record = someone(operation={"date": FRIDAY, "chamber": "shallow"}, eye={"glaucoma": True})
    record["decisions"] = [
        {"need": "right:wound", "day": "2026-03-13", "place": "District eye unit", "why": "home is far"}
    ]
    plan = plan_of(record)
    away = next(t for t in plan.trips if t.place)
    assert away.serves == ("right:wound",)
    assert any("right:chamber-2" in t.serves for t in plan.trips if not t.place)


# ---- closed days by the calendar ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("weekend", "operated"),
    [
        (["saturday", "sunday"], "2026-03-06"),
        (["friday", "saturday"], "2026-03-05"),
        (["thursday", "friday"], "2026-03-04"),
        (["saturday", "sunday"], "2024-02-23"),
    ],
)
def test_no_routine_operation_before_a_weekend_needs_a_decision(someone, weekend, operated):
    open_days = [d for d in [*WEEKDAYS, "saturday", "sunday"] if d not in weekend]
    record = someone(operation={"date": operated, "end": "14:10"})
    silent = plan_of(record, {"open_weekdays": open_days})
    assert [i.need for i in silent.impossible] == ["right:first-look"]

    called = plan_of(record, {"open_weekdays": open_days, "closed_days": ON_CALL})
    assert called.signable
    look = called.trips[0]
    assert (look.place, look.hours) == ("Ward 3, side door", ("09:00", "11:00"))
    assert (look.date - date.fromisoformat(operated)).days == 1
    assert all(t.place is None for t in called.trips[1:])

    waits = plan_of(record, {"open_weekdays": open_days, "closed_days": {"first_look": "another day"}})
    assert waits.signable
    assert (waits.trips[0].date - date.fromisoformat(operated)).days == 3
    (check,) = waits.before_leaving
    assert (check.kind, check.earliest, check.latest) == ("pressure", "17:10", "21:10")


def test_an_eye_that_must_be_seen_the_next_day_does_not_wait_over_the_weekend(someone):
    record = someone(operation={"date": FRIDAY, "cornea_touched": True})
    waits = plan_of(record, CLOSED_WEEKEND | {"closed_days": {"first_look": "another day"}})
    assert [i.need for i in waits.impossible] == ["right:first-look"]
    assert plan_of(record, CLOSED_WEEKEND | {"closed_days": ON_CALL}).signable


def test_no_look_waits_longer_than_the_protocol_says(someone):
    holidays = ["2026-03-09"]  # the Monday too
    record = someone(operation={"date": FRIDAY})
    waits = plan_of(
        record, CLOSED_WEEKEND | {"holidays": holidays, "closed_days": {"first_look": "another day"}}
    )
    assert [i.need for i in waits.impossible] == ["right:first-look"]


def test_whoever_is_on_call_is_asked_only_where_no_open_day_is_left(someone):
    thursday = someone(operation={"date": "2026-03-05"})
    plan = plan_of(thursday, CLOSED_WEEKEND | {"closed_days": ON_CALL})
    assert plan.trips[0].date == date(2026, 3, 6)
    assert plan.trips[0].place is None


@pytest.mark.parametrize(
    "closed",
    [
        {"first_look": "on call"},
        {"first_look": "on call", "place": "Ward 3", "opens": "11:00", "closes": "09:00"},
        {"first_look": "another day", "place": "Ward 3"},
        {"first_look": "never"},
    ],
)
def test_a_calendar_that_does_not_say_where_and_when_is_refused_in_one_line(closed):
    with pytest.raises(FollowupError) as refused:
        parse_calendar({"closed_days": closed})
    assert "closed_days" in refused.value.line
    assert "\n" not in refused.value.line


# ---- bad input ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "more",
    [
        {"trips": [{"date": "2031-03-09", "status": "booked"}]},
        {"decisions": [{"need": "right:first-look", "day": "2029-03-09", "why": "a slip"}]},
    ],
)
def test_a_promise_of_a_day_years_ahead_is_refused_in_one_line(someone, more):
    with pytest.raises(FollowupError) as refused:
        plan_of(someone(operation={"date": FRIDAY}) | more, CLOSED_WEEKEND)
    assert refused.value.code == "record.promise"
    assert refused.value.where.startswith("record: ")
    assert "\n" not in refused.value.line


@pytest.mark.parametrize(
    "decisions",
    [
        [{"need": "right:first-look", "day": "2026-03-09", "why": ""}],
        [{"need": "right:first-look", "day": "2026-02-09", "why": "before the operation"}],
        [{"need": "right:first-look", "why": "elsewhere", "place": "District eye unit"}],
        [{"need": "right:first-look", "day": "2026-03-09", "why": "one"}] * 2,
        [
            {"need": "right:first-look", "day": "2026-03-09", "why": "here"},
            {"need": "right:wound", "day": "2026-03-09", "why": "there", "place": "District eye unit"},
        ],
        [{"need": "right:first-look", "day": d, "why": "two days"} for d in ("2026-03-09", "2026-03-10")],
    ],
)
def test_a_decision_that_makes_no_sense_is_refused_in_one_line(someone, decisions):
    with pytest.raises(FollowupError) as refused:
        plan_of(someone(operation={"date": FRIDAY}) | {"decisions": decisions}, CLOSED_WEEKEND)
    assert "decisions" in refused.value.line
    assert "\n" not in refused.value.line


# ---- what must hold for every clinic ------------------------------------------------------------

CALENDARS = st.fixed_dictionaries(
    {
        "open_weekdays": st.sampled_from(
            [
                WEEKDAYS,
                ["sunday", *WEEKDAYS[:4]],
                ["tuesday"],
                ["monday", "thursday"],
                [*WEEKDAYS, "saturday", "sunday"],
            ]
        ),
        "closure": st.sampled_from([(0, 0), (1, 21), (4, 10), (20, 10)]),
        "services": st.sampled_from(
            [
                [],
                [{"name": "pressure", "weekdays": ["wednesday"]}],
                [{"name": "macula", "weekdays": ["friday"]}, {"name": "retina", "dates": []}],
                [{"name": "review", "capacity": 0}],
            ]
        ),
        "closed_days": st.sampled_from([None, ON_CALL, {"first_look": "another day"}]),
    }
)
OPERATIONS = st.sampled_from(["2024-02-29", "2025-12-31", "2026-03-05", "2026-03-06", "2026-10-24"])
EYES = st.sampled_from(
    [
        ({}, {}),
        ({"glaucoma": True}, {}),
        ({"uveitis": {"last_active": "2023-12-01"}}, {"synechiae_broken": True}),
        ({}, {"vitreous_lost": True, "capsule_torn": True, "lens": "sulcus", "stitches": 1}),
    ]
)


def calendar_of(told, day0):
    first, days = told["closure"]
    holidays = [(day0 + timedelta(days=first + n)).isoformat() for n in range(days)]
    found = {"open_weekdays": told["open_weekdays"], "holidays": holidays, "services": told["services"]}
    return found | ({"closed_days": told["closed_days"]} if told["closed_days"] else {})


@given(CALENDARS, OPERATIONS, EYES, st.integers(0, 30))
@settings(deadline=None, max_examples=40)
def test_everything_impossible_can_be_decided_and_no_decision_is_lost_or_silent(
    someone, told, operated, who, later
):
    eye, event = who
    day0 = date.fromisoformat(operated)
    calendar = calendar_of(told, day0)
    record, plan = decided_all(someone(operation={"date": operated, **event}, eye=eye), calendar)
    assert plan.impossible == ()
    decisions = record.get("decisions", [])
    # Every look is on a visit, or its gap is named with who decided and why.
    on_visits = {key for trip in plan.trips for key in trip.serves}
    named = {line.need for line in plan.decided}
    assert {need.key for need in plan.needs} <= on_visits | named
    assert {d["need"] for d in decisions} <= named | {d["need"] for d in decisions if "day" not in d}
    assert all(line.why for line in plan.decided)
    # Made again on a later day, every decided day to come still stands.
    as_of = day0 + timedelta(days=later)
    again = plan_of(record, calendar, as_of=as_of)
    days = {t.date for t in again.trips}
    assert {date.fromisoformat(d["day"]) for d in decisions if d.get("day", "") >= as_of.isoformat()} <= days


@given(CALENDARS, OPERATIONS, EYES)
@settings(deadline=None, max_examples=30)
def test_no_decision_takes_a_look_away(someone, told, operated, who):
    eye, event = who
    calendar = calendar_of(told, date.fromisoformat(operated))
    record = someone(operation={"date": operated, **event}, eye=eye)
    before = plan_of(record, calendar)
    _, after = decided_all(record, calendar)
    served = {key for trip in before.trips for key in trip.serves}
    assert served <= {key for trip in after.trips for key in trip.serves}
