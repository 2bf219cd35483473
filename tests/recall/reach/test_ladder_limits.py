"""Every step of the ladder at its limit: which way, from which day on, and who is the surgeon's when.

The days are those of the sample protocol's ladders (common practice, no source): at high risk a call and
another on the first day, the second contact the same day, someone on the way the next, the surgeon the day
after; at middle risk 0, 1, 1, 3 and 5 days; at low risk 0, 2, 5, 12 and 19 days.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from followup.clinical.protocol.load import load_protocol
from followup.clinical.words.gist import PlanGist
from followup.errors import FollowupError
from followup.recall.reach.ladder import declare_lost, for_surgeon
from followup.recall.reach.open_cases import Open
from followup.recall.reach.promises import last_promise_day, promise_days
from followup.recall.reach.worklist import to_reach
from followup.records.desk.attempts import AttemptView, FollowStanding
from followup.records.plans.listed import ListedPlan
from followup.records.views import PatientView, TripView
from followup.timing.calendar import parse_calendar

RULES = load_protocol().recall
ZONE = ZoneInfo("UTC")
FIRST = date(2027, 3, 4)  # the first day overdue, a Thursday
WAYS = ("call", "call", "second contact", "community worker", "surgeon")


def _day(number: int) -> date:
    return FIRST + timedelta(days=number)


def _at(number: int) -> datetime:
    return datetime.combine(_day(number), time(12), UTC)


def _person(number: int = 1) -> PatientView:
    return PatientView(number, f"K-{number}", "Wanjiru", None, 1955, None, None, (), ("right",), 1)


def _visit(tier: str, *, ends: int = -1, number: int = 1, patient: int = 1, **more) -> TripView:
    given = {
        "id": number, "patient_id": patient, "patient_code": f"K-{patient}", "patient_name": "Wanjiru",
        "plan_id": 1, "number": number, "day": _day(ends), "window_start": _day(ends - 2),
        "window_end": _day(ends), "status": "proposed", "serves": ("right:look",), "services": ("review",),
        "tier": tier, "cannot_move": False, "overbooked": (), "arrived_at": None, "seen_on": None,
        "fulfilled_at": None, "served": (), "ended_reason": None,
    }  # fmt: skip
    return TripView(**{**given, **more})


def _tries(tried, patient: int = 1) -> tuple[AttemptView, ...]:
    """Each try as (day, rung, outcome) or (day, rung, outcome, promised day)."""
    return tuple(
        AttemptView(
            i,
            patient,
            _at(day),
            _day(day),
            "omar",
            rung,
            WAYS[rung],
            outcome,
            _day(*when) if when else None,
            "",
        )
        for i, (day, rung, outcome, *when) in enumerate(tried)
    )


def _lines(*visits: TripView, tried=(), today: int = 0, **more):
    patients = {visit.patient_id: _person(visit.patient_id) for visit in visits}
    facts = Open(
        trips=visits, closed=(), unseen=(), by_hand=(), drafts=(), not_handed_over=(),
        in_force=frozenset(), patients=patients, gists={}, attempts={1: _tries(tried)},
    )  # fmt: skip
    facts = type(facts)(**{**facts.__dict__, **more})
    return to_reach(facts, _at(today), ZONE, RULES)


NA, PROMISE = "no answer", "will come"
# Tier, what was tried as (day since overdue, rung, outcome, promised day), the next way and its first day.
NEXT = [
    ("A", [], "call", 0),
    ("A", [(0, 0, NA)], "call", 0),
    ("A", [(0, 0, NA), (0, 1, NA)], "second contact", 0),
    ("A", [(0, 0, NA), (0, 1, NA), (0, 2, NA)], "community worker", 1),
    ("A", [(0, 0, NA), (0, 1, NA), (0, 2, "second contact told")], "community worker", 1),
    ("A", [(0, 2, NA), (1, 3, "community worker sent")], "surgeon", 2),
    ("A", [(0, 2, NA), (1, 3, NA)], "surgeon", 2),
    ("B", [], "call", 0),
    ("B", [(0, 0, NA)], "call", 1),
    ("B", [(0, 0, NA), (1, 1, NA)], "second contact", 1),
    ("B", [(0, 0, NA), (1, 1, NA), (1, 2, NA)], "community worker", 3),
    ("B", [(0, 0, NA), (1, 1, NA), (1, 2, NA), (3, 3, NA)], "surgeon", 5),
    ("C", [], "call", 0),
    ("C", [(0, 0, NA)], "call", 2),
    ("C", [(0, 0, NA), (2, 1, NA)], "second contact", 5),
    ("C", [(0, 0, NA), (2, 1, NA), (5, 2, NA)], "community worker", 12),
    ("C", [(0, 0, NA), (2, 1, NA), (5, 2, NA), (12, 3, NA)], "surgeon", 19),
    # The days count from the try itself, also where it came later than it was due.
    ("C", [(4, 0, NA)], "call", 6),
    ("B", [(7, 0, NA), (9, 1, NA), (9, 2, NA)], "community worker", 11),
    # A wrong number makes further calls useless, and takes nothing else away.
    ("A", [(0, 0, "wrong number")], "second contact", 0),
    ("B", [(0, 0, "wrong number")], "second contact", 0),
    ("C", [(0, 0, "wrong number")], "second contact", 3),
    ("C", [(0, 0, "wrong number"), (3, 2, "wrong number")], "community worker", 10),
    # Who refuses is the surgeon's on that day.
    ("A", [(0, 0, "refused")], "surgeon", 0),
    ("C", [(0, 0, NA), (2, 1, "refused")], "surgeon", 2),
    # Who promises is called again, by the same way, the day after the promised day.
    ("B", [(0, 0, PROMISE, 3)], "call", 4),
    ("B", [(2, 2, PROMISE, 4)], "second contact", 5),
    ("B", [(1, 0, PROMISE)], "call", 2),
    ("C", [(2, 3, PROMISE, 4)], "community worker", 5),
    ("A", [(2, 4, PROMISE, 3)], "surgeon", 4),
    # A second promise that was not kept leads on to the next way.
    ("B", [(0, 1, PROMISE, 1), (2, 1, PROMISE, 4)], "second contact", 5),
    ("C", [(0, 3, PROMISE, 1), (2, 3, PROMISE, 4)], "surgeon", 5),
    # One between two others is not a second one.
    ("C", [(0, 0, PROMISE, 1), (2, 0, NA), (4, 1, PROMISE, 6)], "call", 7),
]  # fmt: skip


@pytest.mark.parametrize(("tier", "tried", "way", "on"), NEXT)
def test_the_next_way_and_from_which_day_on(tier, tried, way, on):
    last = max((day for day, *_ in tried), default=0)
    for today in range(last, on + 3):
        (line,) = _lines(_visit(tier), tried=tried, today=today)
        assert (line.next.way, line.next.on) == (way, _day(on)), f"on day {today}"
        assert line.waits is (today < on), f"whether day {today} is too early"
        assert len(line.tried) == len(tried)


@pytest.mark.parametrize("tier", ["A", "B", "C"])
@pytest.mark.parametrize("outcome", ["moved away", "died"])
def test_whoever_died_or_moved_away_is_tried_no_more(tier, outcome):
    (line,) = _lines(_visit(tier), tried=[(0, 0, outcome)], today=9)
    assert (line.next, line.waits) == (None, False)


def test_tries_count_from_the_first_day_overdue_on_and_those_before_it_belong_to_what_is_over():
    for day, counted in ((-2, 0), (-1, 0), (0, 1), (1, 1)):
        (line,) = _lines(_visit("B"), tried=[(day, 0, NA)], today=1)
        assert len(line.tried) == counted, f"tried on day {day} of being overdue"
    # Of two visits that are overdue the ladder begins with the first one.
    both = (_visit("A", ends=3, number=1), _visit("C", ends=-1, number=2))
    for day, counted in ((-1, 0), (0, 1), (3, 1), (4, 1)):
        (line,) = _lines(*both, tried=[(day, 0, NA)], today=5)
        assert (line.tier, len(line.tried)) == ("A", counted), f"tried on day {day}"


def test_whoever_may_be_tried_today_comes_before_whoever_waits_whatever_the_risk():
    high, low = _visit("A"), _visit("C", number=2, patient=2)
    assert [line.tier for line in _lines(high, low, today=0)] == ["A", "C"]
    promised = [(0, 0, PROMISE, 1)]
    for today, order in ((0, ["C", "A"]), (1, ["C", "A"]), (2, ["A", "C"])):
        assert [line.tier for line in _lines(high, low, tried=promised, today=today)] == order, today


# Tier, what was tried, the first day on which it stands before the surgeon (None: never), and why.
SURGEON = [
    ("A", [], None, None),
    ("A", [(0, 0, NA), (0, 1, NA), (0, 2, NA), (1, 3, NA)], 2, "unreachable"),
    ("B", [(0, 0, NA), (1, 1, NA), (1, 2, NA), (3, 3, NA)], 5, "unreachable"),
    ("C", [(0, 0, NA), (2, 1, NA), (5, 2, NA), (12, 3, NA)], 19, "unreachable"),
    ("C", [(0, 0, NA), (2, 1, NA), (5, 2, NA)], None, None),
    # Somebody was spoken to: then not "unreachable".
    ("B", [(0, 0, NA), (1, 2, "second contact told"), (3, 3, NA)], 5, "ladder ended"),
    ("B", [(0, 0, PROMISE, 0), (1, 0, NA), (2, 2, NA), (4, 3, NA)], 6, "ladder ended"),
    ("C", [(1, 0, "refused")], 1, "refused"),
    ("C", [(12, 3, "refused")], 12, "refused"),
    ("A", [(0, 0, NA), (2, 4, "surgeon told")], 2, "wait for the surgeon"),
    # A promise on the way is none of the surgeon's; one after the last way was due takes nothing away.
    ("A", [(0, 0, PROMISE, 1)], None, None),
    ("B", [(0, 0, NA), (1, 1, NA), (1, 2, NA), (3, 3, NA), (5, 4, PROMISE, 7)], 5, "ladder ended"),
    ("B", [(0, 0, NA), (1, 1, NA), (1, 2, NA), (3, 3, PROMISE, 4)], None, None),
]


@pytest.mark.parametrize(("tier", "tried", "first", "cause"), SURGEON)
def test_who_stands_before_the_surgeon_and_from_which_day_on(tier, tried, first, cause):
    last = max((day for day, *_ in tried), default=0)
    for today in range(last, (last if first is None else first) + 3):
        found = for_surgeon(_lines(_visit(tier), tried=tried, today=today), RULES, _day(today))
        expected = [] if first is None or today < first else [cause]
        assert [one.cause for one in found] == expected, f"on day {today}"


# Lost to follow-up may be said 60 days past the last possible day at high and middle risk, 90 at low risk.
LOST = [("A", 60), ("B", 60), ("C", 90)]


@pytest.mark.parametrize(("tier", "days"), LOST)
def test_lost_is_said_from_its_day_on_and_only_once_the_surgeon_was_told(tier, days):
    told = [(2, 4, "surgeon told")]
    asked = [(2, 4, PROMISE, 3)]
    sent = [(1, 3, "community worker sent"), (1, 0, NA)]
    for past, allowed in ((days - 1, False), (days, True), (days + 1, True)):
        today = past - 1
        for tried, way_is_open in ((told, True), (asked, True), (sent, False), ([], False)):
            (line,) = _lines(_visit(tier), tried=tried, today=today)
            assert line.days == past
            for item in for_surgeon([line], RULES, _day(today)):
                assert item.may_be_lost is (allowed and way_is_open), f"{past} days past, after {tried}"
            if not (allowed and way_is_open):
                with pytest.raises(FollowupError) as refused:
                    declare_lost(SimpleNamespace(), line, RULES, reason="never came")
                assert refused.value.code == "standing.rule", f"{past} days past, after {tried}"
                assert f"{days} days" in refused.value.fix
    (item,) = for_surgeon(_lines(_visit(tier), tried=told, today=days - 1), RULES, _day(days - 1))
    assert item.may_be_lost


def test_only_an_overdue_patient_is_lost_or_the_surgeons():
    """A patient who was here since is planned again, however many tries there were."""
    (line,) = _lines(_visit("A"), tried=[(2, 4, "surgeon told")], today=100, seen={1: ((2, _day(3)),)})
    assert (line.kind, line.next, line.tried) == ("plan again", None, ())
    assert for_surgeon([line], RULES, _day(100)) == ()
    with pytest.raises(FollowupError, match="lost to follow-up yet"):
        declare_lost(SimpleNamespace(), line, RULES, reason="never came")


# Who was here since: the visit's day, the window's last day, the day here, what the line says then.
SEEN_SINCE = [
    (-3, -1, -4, ("overdue", None, False)),
    (-3, -1, -3, ("plan again", -3, True)),
    (-3, -1, -2, ("plan again", -2, True)),
    (-3, -1, -1, ("plan again", -1, True)),
    (-3, -1, 0, ("plan again", 0, False)),
    (-3, -1, 1, ("plan again", 1, False)),
]


@pytest.mark.parametrize(("day", "ends", "here", "expected"), SEEN_SINCE)
def test_whoever_was_here_on_the_day_of_the_missed_visit_or_later_is_planned_again(day, ends, here, expected):
    visit = _visit("B", ends=ends, day=_day(day))
    (line,) = _lines(visit, today=3, seen={1: ((2, _day(here)),)})
    seen = None if expected[1] is None else _day(expected[1])
    assert (line.kind, line.seen, line.seen_in_time) == (expected[0], seen, expected[2])
    # The missed visit itself is no other one.
    (line,) = _lines(visit, today=3, seen={1: ((1, _day(here)),)})
    assert line.kind == "overdue"


@pytest.mark.parametrize("standing", ["refused", "moved away", "died", "lost to follow-up"])
def test_whoever_is_not_followed_is_not_on_the_list(standing):
    gone = {1: FollowStanding(1, standing, _at(0), "sen", "said so")}
    assert _lines(_visit("A"), today=9, standings=gone) == ()
    other = {2: gone[1]}
    assert len(_lines(_visit("A"), today=9, standings=other)) == 1


# A draft that asks nothing waits from the day after it was drafted, or after the day it is for, on.
DRAFTS = [
    # Drafted on, for the day, today, a plan in force already, does it wait?
    (0, 0, 0, False, False),
    (0, 0, 1, False, True),
    (0, 2, 2, False, False),
    (0, 2, 3, False, True),
    (2, 0, 2, False, False),
    (2, 0, 3, False, True),
    (0, 0, 9, True, False),
]


@pytest.mark.parametrize(("drafted", "as_of", "today", "in_force", "waits"), DRAFTS)
def test_an_unsigned_draft_waits_from_the_next_day_on_unless_a_plan_is_in_force(
    drafted, as_of, today, in_force, waits
):
    gist = PlanGist(
        needs=(), watched=(), courses=(), supply=(), before_leaving=(), to_come=(), tiers=frozenset(),
        questions=0, signable=True, last_drop=None,
    )  # fmt: skip
    plan = ListedPlan(1, 1, "draft", _day(as_of), _at(drafted), None, gist)
    force = frozenset({1} if in_force else ())
    found = _lines(today=today, drafts=(plan,), patients={1: _person()}, in_force=force)
    assert [one.kind for one in found] == (["plan incomplete"] if waits else [])


# Promises. 4 March 2027 is a Thursday; the clinic is closed on Sundays and on Tuesday the 9th.
CALENDAR = {
    "open_weekdays": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday"],
    "holidays": ["2027-03-09"],
}
PROMISES = [
    # Tier, the day on which it is promised, the days that may be promised, the last day of the limit.
    ("A", "2027-03-04", "04 05", "05"),
    ("A", "2027-03-06", "06", "07"),
    ("A", "2027-03-07", "08", "08"),
    ("B", "2027-03-04", "04 05 06 08", "09"),
    ("B", "2027-03-05", "05 06 08 10", "10"),
    ("B", "2027-03-07", "08 10 11", "11"),
    ("C", "2027-03-04", "04 05 06 08 10 11 12 13", "14"),
    ("C", "2027-03-07", "08 10 11 12 13 15 16", "16"),
    ("C", "2027-03-10", "10 11 12 13 15 16 17 18", "18"),
]


@pytest.mark.parametrize(("tier", "today", "days", "last"), PROMISES)
def test_which_days_may_be_promised(tier, today, days, last):
    """By tomorrow at high risk, within three open days at middle, within seven at low risk."""
    calendar, day = parse_calendar(CALENDAR), date.fromisoformat(today)
    found = promise_days(RULES, tier, day, calendar, ("review",))
    assert [f"{one:%d}" for one in found] == days.split()
    assert f"{last_promise_day(RULES, tier, day, calendar):%d}" == last


def test_a_full_day_and_one_without_the_service_are_not_promised():
    calendar = parse_calendar(
        {
            "services": [{"name": "macula", "weekdays": ["friday", "monday"], "capacity": 1}],
            "places_taken": [{"service": "macula", "date": "2027-03-05", "places": 1}],
        }
    )
    for services, days in ((("review",), ["04", "05", "06", "07"]), (("review", "macula"), [])):
        found = promise_days(RULES, "B", FIRST, calendar, services)
        assert [f"{one:%d}" for one in found] == days
    later = promise_days(RULES, "C", FIRST, calendar, ("macula",))
    assert [f"{one:%d}" for one in later] == ["08"]


def test_a_clinic_that_never_opens_has_no_day_to_promise_within_sixty():
    calendar = parse_calendar({"open_weekdays": []})
    assert promise_days(RULES, "C", FIRST, calendar, ()) == ()
    assert last_promise_day(RULES, "C", FIRST, calendar) == date(2027, 5, 3)
