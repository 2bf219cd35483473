"""What must hold for every look at every eye, whatever the record and the findings."""

from __future__ import annotations

import copy
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from followup.clinical.look import POTENCIES
from followup.clinical.plan import build_plan
from followup.clinical.record import parse_findings, parse_record
from followup.clinical.review import accept, review, with_findings
from followup.clinical.review_rules import GRADES
from followup.errors import FollowupError

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
    "epithelial_defect": st.sampled_from(["no", "yes"]),
}


@st.composite
def looks(draw: Any, records: Any) -> tuple[Any, Any]:
    """A record and one look at its first eye, with up to two looks before it."""
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
    return parse_record(told), parse_findings(this)


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
    @SLOW
    @given(looks(made.records()))
    def holds(told):
        record, findings = told
        try:
            outcome = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        assume(findings.cells != "0")
        whole = with_findings(record, findings)
        before = build_plan(whole, protocol, as_of=findings.date)
        planned = steroid(before, findings.eye, protocol, findings.date)
        for proposal in outcome.proposals:
            edits = accept([proposal], by="Dr Sen", reason="")
            after = build_plan(whole, protocol, as_of=findings.date, edits=edits)
            given_then = steroid(after, findings.eye, protocol, findings.date)
            assert all(now[0] >= was[0] for was, now in zip(planned, given_then, strict=True))
            assert all(now[1] >= was[1] for was, now in zip(planned, given_then, strict=True) if was[0])
            assert proposal.direction != "lower"

    holds()


def test_any_proposals_that_may_be_signed_together_make_a_plan(made, protocol):
    @SLOW
    @given(looks(made.records()), st.data())
    def holds(told, data):
        record, findings = told
        try:
            outcome = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        assert not (outcome.senior and outcome.proposals)
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
    @given(looks(made.records()))
    def holds(told):
        record, findings = told
        try:
            outcome = review(record, protocol, findings)
        except FollowupError:
            assume(False)
        for proposal in outcome.proposals:
            if proposal.id not in ("raise", "rebound", "rescue"):
                continue
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
