"""What must hold for every look at every eye, whatever the record and the findings."""

from __future__ import annotations

import copy
import re
from datetime import date, timedelta
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from followup.clinical.adjustments import CourseEdit, NeedAdded
from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.reviews import GRADES
from followup.clinical.record import parse_findings, parse_record
from followup.clinical.review.look import POTENCIES
from followup.clinical.review.review import accept, review, with_findings
from followup.errors import FollowupError
from followup.said import MONTHS

SLOW = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
FINDINGS: dict[str, Any] = {
    "cells": st.sampled_from([*GRADES, "not seen"]),
    "pressure": st.sampled_from([3, 7, 14, 21.9, 22, 25.5, 26, 30, 30.5, 41, "not done"]),
    "leak": st.sampled_from(["none", "slow", "not seen"]),
    "blood": st.sampled_from(["none", "level", "not seen"]),
    "macula": st.sampled_from(["dry", "oedema", "not seen"]),
    "cornea": st.sampled_from(["clear", "central haze", "not seen"]),
    "chamber": st.sampled_from(["deep", "shallow", "not seen"]),
    "epithelial_defect": st.sampled_from(["no", "no", "no", "yes"]),
    "drops_taken": st.sampled_from(["as told", "as told", "missed some", "stopped", "run out", "lost"]),
    "lens_material": st.sampled_from(["no", "yes", "not seen"]),
    **{
        sign: st.sampled_from(["no", "no", "no", "no", "no", "yes", "not seen"])
        for sign in ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin")
    },
}
RED_FLAGS: tuple[dict[str, Any], ...] = (
    *({sign: "yes"} for sign in ("pain", "vision_falling", "redness_growing", "lid_swelling")),
    {"hypopyon": "yes"},
    {"fibrin": "yes"},
    {"chamber": "flat"},
    {"retina": "tear"},
    {"retina": "detached"},
)


# Everything that is asked before a proposal is shown, asked and not there.
CALM: dict[str, Any] = {
    **dict.fromkeys(
        ("pain", "vision_falling", "redness_growing", "lid_swelling", "hypopyon", "fibrin"), "no"
    ),
    **{"chamber": "deep", "leak": "none", "blood": "none", "cornea": "clear", "epithelial_defect": "no"},
}


@st.composite
def looks(draw: Any, records: Any, **found_last: Any) -> tuple[Any, Any]:
    """A record and one look at its first eye, with up to two looks before it; ``found_last``: strategies."""
    told = copy.deepcopy(draw(records))
    operation = told["operations"][0]
    operation["date"] = min(o["date"] for o in told["operations"] if o["eye"] == operation["eye"])
    last = max(o["date"] for o in told["operations"] if o["eye"] == operation["eye"])
    day0 = date.fromisoformat(last)
    days = sorted(draw(st.lists(st.integers(1, 80), min_size=1, max_size=3, unique=True)))
    told["reviews"] = []
    for day in days:
        found = draw(st.fixed_dictionaries({}, optional=FINDINGS))
        told["reviews"].append(
            {"eye": operation["eye"], "date": (day0 + timedelta(days=day)).isoformat(), **found}
        )
    *_, this = told["reviews"]
    told["reviews"] = told["reviews"][:-1]
    this |= draw(st.fixed_dictionaries(found_last))
    return parse_record(told), parse_findings(this)


def calm(records: Any, **found: Any) -> Any:
    """Looks at eyes without a red flag: most of them lead to a proposal."""
    fixed = {name: st.just(value) for name, value in CALM.items()}
    return looks(records, **fixed, **{name: st.sampled_from(values) for name, values in found.items()})


def steroid(plan: Any, eye: str, protocol: Any, start: date) -> list[tuple[int, int]]:
    """Drops and potency of every day from ``start`` on, for a year."""
    mine = [c for c in plan.courses if c.role == "steroid" and c.eye == eye and c.state != "stopped"]
    days = []
    for i in range(200):
        day = start + timedelta(days=i)
        given_now = [(c.count_on(day), protocol.formulary[c.medicine].potency) for c in mine]
        counts = [(n, POTENCIES.index(p)) for n, p in given_now if n]
        days.append((sum(n for n, _ in counts), max((p for _, p in counts), default=0)))
    return days


def test_no_proposal_lowers_a_steroid_in_an_eye_that_is_not_better(made, protocol):
    compared = []

    @SLOW
    @given(calm(made.records(), cells=["0.5+", "1+", "2+"], drops_taken=["as told"], pressure=[14, 26]))
    def holds(told):
        record, findings = told
        try:
            outcome = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        assume(outcome.proposals)
        whole = with_findings(record, findings)
        before = build_plan(whole, protocol, as_of=findings.date)
        planned = steroid(before, findings.eye, protocol, findings.date)
        for proposal in outcome.proposals:
            edits = accept([proposal], by="Dr Sen", reason="")
            after = build_plan(whole, protocol, as_of=findings.date, edits=edits)
            given_then = steroid(after, findings.eye, protocol, findings.date)
            for was, now in zip(planned, given_then, strict=True):
                assert now[0] >= was[0], "fewer drops a day"
                assert now[1] >= was[1] or not was[0], "a weaker steroid"
            compared.append(sum(was[0] for was in planned))
            assert proposal.direction != "lower"

    holds()
    assert any(compared), "no look at an eye with steroid drops led to a proposal"


def test_any_proposals_that_may_be_signed_together_make_a_plan(made, protocol):
    @SLOW
    @given(calm(made.records(), cells=["0", "1+", "2+"], pressure=[14, 26, 30]), st.data())
    def holds(told, data):
        record, findings = told
        try:
            outcome = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        assert not (outcome.senior and outcome.proposals)
        assume(outcome.proposals)
        chosen = []
        for p in outcome.proposals:
            apart = {*p.opposes, *p.alternative_to}
            free = not any(q.id in apart or p.id in (*q.opposes, *q.alternative_to) for q in chosen)
            chosen += [p] if free and data.draw(st.booleans()) else []
        edits = accept(chosen, by="Dr Sen", reason="as seen")
        plan = build_plan(with_findings(record, findings), protocol, as_of=findings.date, edits=edits)
        for course in plan.courses:
            spans = [(step.start, step.end) for step in course.steps]
            assert spans == sorted(spans)
            assert all(one[1] < two[0] for one, two in pairwise(spans))

    holds()


def test_a_rise_is_never_answered_by_eight_drops_or_fewer_than_now(made, protocol):
    @SLOW
    @given(calm(made.records(), cells=["1+", "2+"], drops_taken=["as told"], pressure=[14]))
    def holds(told):
        record, findings = told
        try:
            outcome = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        more = [p for p in outcome.proposals if p.id in ("raise", "rebound", "rescue")]
        assume(more)
        for proposal in more:
            whole = with_findings(record, findings)
            edits = accept([proposal], by="Dr Sen", reason="")
            plan = build_plan(whole, protocol, as_of=findings.date, edits=edits)
            tomorrow = steroid(plan, findings.eye, protocol, findings.date + timedelta(days=1))[0][0]
            assert tomorrow >= 8
            assert tomorrow > outcome.present_count

    holds()


def test_the_same_look_gives_the_same_proposals_byte_for_byte(made, protocol):
    @settings(SLOW, max_examples=15)
    @given(looks(made.records()))
    def holds(told):
        record, findings = told
        try:
            first = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        again = review(with_findings(record, findings), protocol, findings)
        assert first.model_dump_json() == again.model_dump_json()

    holds()


def changed_steroid(proposal: Any, protocol: Any) -> dict[str, str]:
    """What a proposal does to each steroid course: "ends" or "gives"."""
    return {
        a.course: "gives" if a.steps else "ends"
        for a in proposal.adjustments
        if isinstance(a, CourseEdit) and "steroid" in a.course
    }


def test_opposite_proposals_can_never_both_be_chosen(made, protocol):
    @SLOW
    @given(calm(made.records(), cells=["0", "1+", "2+"], pressure=[14, 26, 30], macula=["dry", "oedema"]))
    def holds(told):
        record, findings = told
        try:
            outcome = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        assume(len(outcome.proposals) > 1)
        for one, two in combinations(outcome.proposals, 2):
            directions = {one.direction, two.direction}
            keeps = "keep" in directions and bool(directions & {"raise", "lower", "hold"})
            lowers = "lower" in directions and bool(directions & {"raise", "hold"})
            ends, gives = changed_steroid(one, protocol), changed_steroid(two, protocol)
            undone = any(ends[key] != gives[key] for key in ends.keys() & gives.keys())
            both_lower = directions == {"lower"}
            if keeps or lowers or undone or both_lower:
                with pytest.raises(FollowupError, match="exclude each other"):
                    accept([one, two], by="Dr Sen", reason="both")

    holds()


def test_a_red_flag_never_stands_beside_a_proposal_and_asks_nothing_else(made, protocol):
    @SLOW
    @given(
        st.one_of(looks(made.records()), calm(made.records(), cells=["1+", "2+"], pressure=[14, 26])),
        st.sampled_from(RED_FLAGS),
    )
    def holds(told, flag):
        record, findings = told
        flagged = findings.model_copy(update=flag)
        try:
            outcome = review(record, protocol, flagged)
        except FollowupError:
            assume(False)
        assert outcome.senior
        assert outcome.proposals == ()
        assert outcome.missing == ()
        assert outcome.now

    holds()


def urgency(outcome: Any, plan: Any, eye: str) -> int:
    """How soon this eye is in front of somebody: a senior today, an answer now, today, or days to a look."""
    if outcome.senior:
        return 0
    if outcome.waits:
        return 1
    if any(note.id == "pressure-now" for note in outcome.notes):
        return 2
    if any(proposal.today for proposal in outcome.proposals):
        return 3
    days = [a.latest for p in outcome.proposals for a in p.adjustments if isinstance(a, NeedAdded)]
    days += [n.latest for n in plan.needs if n.eye == eye and n.state == "open" and n.latest > plan.as_of]
    return 4 + min(((day - plan.as_of).days for day in days), default=9999)


def led_to(record: Any, protocol: Any, findings: Any) -> int:
    outcome = review(record, protocol, findings)
    plan = build_plan(with_findings(record, findings), protocol, as_of=findings.date)
    return urgency(outcome, plan, findings.eye)


@pytest.mark.parametrize(
    ("finding", "rising"),
    [("cells", list(GRADES)), ("pressure", [14.0, 21.9, 22.0, 25.9, 26.0, 30.0, 30.5, 40.0, 40.5, 60.0])],
)
def test_more_cells_or_a_higher_pressure_never_make_a_later_look_or_a_less_urgent_call(
    made, protocol, finding, rising
):
    @settings(SLOW, max_examples=20)
    @given(looks(made.records()), st.integers(0, len(rising) - 2))
    def holds(told, i):
        record, findings = told
        low, high = (findings.model_copy(update={finding: rising[i + n]}) for n in (0, 1))
        try:
            assert led_to(record, protocol, high) <= led_to(record, protocol, low)
        except FollowupError:
            assume(False)

    holds()


def test_no_red_flag_ever_makes_a_later_look_or_a_less_urgent_call(made, protocol):
    @settings(SLOW, max_examples=20)
    @given(looks(made.records()), st.sampled_from(RED_FLAGS))
    def holds(told, flag):
        record, findings = told
        try:
            worse = led_to(record, protocol, findings.model_copy(update=flag))
            assert worse <= led_to(record, protocol, findings)
        except FollowupError:
            assume(False)

    holds()


def test_no_sentence_of_a_proposal_contradicts_what_signing_it_changes(made, protocol):
    @SLOW
    @given(calm(made.records(), cells=["0", "1+", "2+"], pressure=[14, 26, 30]))
    def holds(told):
        record, findings = told
        try:
            outcome = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        assume(outcome.proposals)
        for p in outcome.proposals:
            assert bool(p.if_signed) is bool(p.adjustments)
            counts, days = said_steps(p.if_signed), said_days(p.if_signed)
            for a in p.adjustments:
                if isinstance(a, NeedAdded):
                    assert {a.earliest, a.latest} <= days
                elif a.steps:
                    given_steps = a.steps if a.steps[0][0] else a.steps[1:]
                    assert given_steps in counts
                    assert a.starts + timedelta(days=sum(d for _, d in a.steps) - 1) in days
            if p.id in ("raise", "rebound"):
                top = int(re.search(r"(\d+) a day", p.title)[1])
                assert top == max(a.steps[0][0] for a in p.adjustments if a.kind != "look" and a.steps)

    holds()


def said_steps(text: str) -> list[tuple[tuple[int, int], ...]]:
    """The steps that a sentence says: "16 a day for 3 days from ..., then 8 for 4 days; ..."."""
    found = []
    for part in text.split(";"):
        first = re.search(r"(\d+) a day for (\d+) days? from", part)
        if first:
            later = re.findall(r"then (\d+) for (\d+) days?", part)
            found.append(tuple((int(n), int(d)) for n, d in [first.groups(), *later]))
    return found


def said_days(text: str) -> set[date]:
    """The days that a sentence names: "10 March 2026"."""
    return {
        date(int(year), MONTHS.index(month) + 1, int(number))
        for number, month, year in re.findall(rf"(\d+) ({'|'.join(MONTHS)}) (\d{{4}})", text)
    }
