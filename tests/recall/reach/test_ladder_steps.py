"""What each outcome of a call leads to, step by step; who stands before the surgeon, and who may be lost."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import get_args

import pytest

from followup.clinical.protocol.load import load_protocol
from followup.clinical.protocol.recall import OUTCOMES, AttemptOutcome, Ladder, Rung, Way, refuse_outcome
from followup.errors import FollowupError
from followup.recall.reach.ladder import for_surgeon, next_for
from followup.recall.reach.line import ReachKind
from followup.recall.reach.next_attempt import Tried, is_unreachable, next_attempt
from followup.records.desk.attempts import AttemptView

RULES = load_protocol().recall
OPERATION = datetime(2027, 3, 1, tzinfo=UTC)
# Everybody here is one to reach since day 3.
SINCE = 3

# What can come of each way: from the call page, each outcome a button.
ENDS = ("moved away", "died")
POSSIBLE = {
    "call": {"will come", "no answer", "wrong number", "refused", *ENDS},
    "second contact": {
        *("second contact told", "will come", "no answer", "wrong number", "refused", *ENDS),
    },
    # Who stands at the door has no wrong number.
    "community worker": {"community worker sent", "will come", "no answer", "refused", *ENDS},
    "surgeon": {"surgeon told", "will come", "refused", *ENDS},
}
WAYS = ("call", "call", "second contact", "community worker", "surgeon")


def _day(number):
    return (OPERATION + timedelta(days=number)).date()


@pytest.mark.parametrize("way", POSSIBLE)
def test_only_what_can_come_of_a_way_is_taken_for_its_outcome(way):
    assert set(get_args(Way)) == set(POSSIBLE)
    assert set(OUTCOMES[way]) == POSSIBLE[way]
    for outcome in get_args(AttemptOutcome):
        if outcome in POSSIBLE[way]:
            refuse_outcome(way, outcome)
        else:
            with pytest.raises(FollowupError) as caught:
                refuse_outcome(way, outcome)
            assert (caught.value.code, caught.value.where) == ("attempt.outcome", "outcome")


# Attempts as (day, rung, outcome, promised day); then rung, way and day of the next one, and whether the
# same rung is tried again. None: a person has the word, or nobody is to be reached any more.
STEPS = [
    # The rest: one after the other, two, three, seven and seven days later.
    ("C", [], (0, "call", 3, False)),
    ("C", [(3, 0, "no answer")], (1, "call", 5, False)),
    ("C", [(3, 0, "no answer"), (9, 1, "no answer")], (2, "second contact", 12, False)),
    ("C", [(8, 2, "no answer")], (3, "community worker", 15, False)),
    ("C", [(8, 2, "second contact told")], (3, "community worker", 15, False)),
    ("C", [(8, 2, "wrong number")], (3, "community worker", 15, False)),
    ("C", [(15, 3, "no answer")], (4, "surgeon", 22, False)),
    ("C", [(15, 3, "community worker sent")], (4, "surgeon", 22, False)),
    ("C", [(22, 4, "surgeon told")], None),
    # A wrong number: no second call to it, whatever came between.
    ("C", [(3, 0, "wrong number")], (2, "second contact", 6, False)),
    ("C", [(3, 0, "no answer"), (5, 1, "wrong number")], (2, "second contact", 8, False)),
    ("A", [(3, 0, "wrong number")], (2, "second contact", 3, False)),
    ("B", [(3, 0, "wrong number"), (3, 2, "no answer")], (3, "community worker", 5, False)),
    # High and middle risk.
    ("A", [(3, 0, "no answer")], (1, "call", 3, False)),
    ("A", [(3, 1, "no answer")], (2, "second contact", 3, False)),
    ("A", [(3, 2, "second contact told")], (3, "community worker", 4, False)),
    ("A", [(4, 3, "community worker sent")], (4, "surgeon", 5, False)),
    ("B", [(3, 0, "no answer")], (1, "call", 4, False)),
    ("B", [(4, 1, "no answer")], (2, "second contact", 4, False)),
    ("B", [(4, 2, "no answer")], (3, "community worker", 6, False)),
    ("B", [(6, 3, "no answer")], (4, "surgeon", 8, False)),
    # Who refuses is the surgeon's at once, at whatever rung.
    *((tier, [(3, rung, "refused")], (4, "surgeon", 3, False)) for tier in "ABC" for rung in range(5)),
    # Who moved away or died is called by nobody.
    *((tier, [(3, rung, end)], None) for tier in "ABC" for rung in range(5) for end in ENDS),
    # Who promised is called again the day after the promise, on the same rung ...
    ("C", [(3, 0, "will come", 6)], (0, "call", 7, True)),
    ("C", [(3, 0, "will come", 3)], (0, "call", 4, True)),
    ("C", [(3, 0, "will come", None)], (0, "call", 4, True)),
    # Never on a day that has passed, though the promise was for one.
    ("C", [(6, 0, "will come", 4)], (0, "call", 7, True)),
    ("C", [(3, 0, "no answer"), (5, 1, "will come", 8)], (1, "call", 9, True)),
    ("C", [(3, 0, "will come", 6), (7, 0, "no answer")], (1, "call", 9, False)),
    ("A", [(4, 3, "will come", 5)], (3, "community worker", 6, True)),
    # ... and a second promise that was not kept leads on to the next rung.
    ("C", [(3, 0, "will come", 6), (7, 0, "will come", 9)], (1, "call", 10, False)),
    (
        "C",
        [(3, 0, "will come", 6), (7, 0, "will come", 9), (10, 1, "will come", 12)],
        (2, "second contact", 13, False),
    ),
    ("C", [(22, 4, "will come", 24)], (4, "surgeon", 25, True)),
    ("C", [(22, 4, "will come", 24), (25, 4, "will come", 26)], (4, "surgeon", 27, False)),
]


def _given(steps):
    return [(day, rung, outcome, more[0] if more else None) for day, rung, outcome, *more in steps]


@pytest.mark.parametrize(("tier", "tried", "following"), STEPS)
def test_each_outcome_leads_to_the_next_step_and_its_day(tier, tried, following):
    attempts = [
        Tried(_day(day), rung, outcome, _day(promised) if promised else None)
        for day, rung, outcome, promised in _given(tried)
    ]
    found = next_attempt(RULES.ladder[tier], attempts, _day(SINCE))
    told = found and (found.rung, found.way, (found.on - OPERATION.date()).days, found.repeated)
    assert told == following


# A clinic's own ladder, from one attempt to the next, each a day later.
OWN = [
    # A wrong number makes the calls that remain useless, and them alone ...
    ("call, call, call, second contact, surgeon", [(3, 0, "no answer"), (4, 1, "wrong number")], (3, 5)),
    ("call, second contact, call, surgeon", [(3, 0, "wrong number"), (4, 1, "no answer")], (3, 5)),
    # ... and that of the second contact none.
    ("call, second contact, call, surgeon", [(3, 0, "no answer"), (4, 1, "wrong number")], (2, 5)),
    # Tried on a longer ladder than the one of today: the surgeon's, at once.
    ("call, surgeon", [(3, 0, "no answer"), (4, 1, "no answer")], (1, 4)),
    ("call, surgeon", [(3, 0, "no answer"), (4, 1, "no answer"), (5, 2, "no answer")], (1, 5)),
]


@pytest.mark.parametrize(("ways", "tried", "following"), OWN)
def test_on_a_ladder_of_its_own_a_clinic_gets_the_next_step_too(ways, tried, following):
    rungs = [Rung(way=way, after=1) for way in ways.split(", ")]
    ladder = Ladder(rungs=tuple(rungs), because="ours", source="common practice, no source", mark="C")
    attempts = [Tried(_day(day), rung, outcome) for day, rung, outcome in tried]
    found = next_attempt(ladder, attempts, _day(SINCE))
    assert (found.rung, (found.on - OPERATION.date()).days) == following
    assert found.way == rungs[found.rung].way


def _views(tried):
    return tuple(
        AttemptView(
            id=number,
            patient_id=1,
            at=OPERATION + timedelta(days=day),
            day=_day(day),
            by="omar",
            rung=rung,
            way=WAYS[rung],
            outcome=outcome,
            promised=_day(promised) if promised else None,
            note="",
        )
        for number, (day, rung, outcome, promised) in enumerate(_given(tried))
    )


def _line(tier, tried, *, kind="overdue", days=1):
    views = _views(tried)
    following = next_for(RULES, tier, views, _day(SINCE))
    return SimpleNamespace(kind=kind, tier=tier, tried=views, next=following, since=_day(SINCE), days=days)


IN_VAIN = [(3, 0, "no answer"), (3, 1, "no answer"), (3, 2, "no answer"), (4, 3, "no answer")]
# High risk: what was tried, today, and why the patient stands before the surgeon.
CAUSES = [
    ([], 30, None),
    (IN_VAIN[:3], 30, None),
    (IN_VAIN, 4, None),
    (IN_VAIN, 5, "unreachable"),
    (IN_VAIN, 6, "unreachable"),
    ([*IN_VAIN[:2], (3, 2, "second contact told"), IN_VAIN[3]], 5, "ladder ended"),
    ([(3, 0, "will come", 4), *IN_VAIN[1:]], 5, "ladder ended"),
    ([*IN_VAIN[:3], (4, 3, "community worker sent")], 5, "unreachable"),
    ([(3, 0, "refused")], 3, "refused"),
    ([*IN_VAIN, (5, 4, "surgeon told")], 5, "wait for the surgeon"),
    ([*IN_VAIN, (5, 4, "surgeon told")], 90, "wait for the surgeon"),
    # A promise at the end does not take the last rung away; one before it does not bring it nearer.
    ([*IN_VAIN, (5, 4, "will come", 6)], 5, "ladder ended"),
    ([*IN_VAIN[:3], (4, 3, "will come", 5)], 5, None),
    ([*IN_VAIN, (5, 4, "moved away")], 9, None),
    ([(3, 0, "died")], 9, None),
]


@pytest.mark.parametrize(("tried", "today", "cause"), CAUSES)
def test_whom_the_ladder_has_brought_to_the_surgeon_and_why(tried, today, cause):
    found = for_surgeon([_line("A", tried)], RULES, _day(today))
    assert [one.cause for one in found] == ([cause] if cause else [])


def test_nobody_stands_before_the_surgeon_for_anything_but_an_overdue_check():
    for kind in get_args(ReachKind):
        found = for_surgeon([_line("A", IN_VAIN, kind=kind)], RULES, _day(9))
        assert len(found) == (kind == "overdue"), kind


@pytest.mark.parametrize(("tier", "days"), [("A", 60), ("B", 60), ("C", 90)])
def test_lost_may_be_said_from_the_day_of_the_rule_on_and_after_the_surgeon_was_told(tier, days):
    told = [*IN_VAIN, (5, 4, "surgeon told")]

    def may(tried, number, kind="overdue"):
        found = for_surgeon([_line(tier, tried, days=number, kind=kind)], RULES, _day(120))
        return [one.may_be_lost for one in found]

    assert [may(told, number) for number in (days - 1, days, days + 1)] == [[False], [True], [True]]
    assert may(IN_VAIN, days + 1) == [False], "the surgeon was never told"


@pytest.mark.parametrize(
    ("tried", "unreachable"),
    [
        ([], False),
        (IN_VAIN[:3], False),
        (IN_VAIN, True),
        ([(3, 0, "wrong number"), (3, 2, "wrong number"), (4, 3, "no answer")], True),
        *(([*IN_VAIN[:3], (4, 3, said)], False) for said in ("will come", "refused", *ENDS)),
        ([*IN_VAIN[:2], (3, 2, "second contact told"), (4, 3, "no answer")], False),
        ([*IN_VAIN, (5, 4, "surgeon told")], True),
    ],
)
def test_unreachable_is_who_was_tried_by_every_way_and_spoken_to_by_none(tried, unreachable):
    attempts = [Tried(_day(day), rung, outcome) for day, rung, outcome, _ in _given(tried)]
    assert is_unreachable(RULES.ladder["A"], attempts) is unreachable
