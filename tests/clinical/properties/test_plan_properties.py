"""What must hold of the plan of every record, however strange (clinical safety properties)."""

from __future__ import annotations

import json
from datetime import timedelta
from itertools import pairwise

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.clinical.record import parse_record

few = settings(max_examples=20, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


@few
@given(data=st.data())
def test_counts_never_rise_along_a_taper(data, made, told):
    plan = told(data.draw(made.records()))
    for course in plan.plan.courses:
        if not course.from_before:
            counts = [step.count for step in course.steps]
            assert all(later <= earlier for earlier, later in pairwise(counts)), course.key
            assert all(one.end < two.start for one, two in pairwise(course.steps))
    for eye in ("right", "left"):
        by_day = sorted(plan.steroid(eye).items())
        assert all(later <= earlier for (_, earlier), (_, later) in pairwise(by_day))


@few
@given(data=st.data())
def test_a_uveitic_eye_is_treated_on_every_day_at_least_as_much_as_the_same_eye_without(data, made, told):
    record = data.draw(made.records(eyes=(1,)))
    eye = record["operations"][0]["eye"]
    calm = made.without(record, "eye", "uveitis")
    uveitic = made.with_facts(calm, "eye", uveitis=data.draw(made.uveitis))
    without, with_it = told(calm).steroid(eye), told(uveitic).steroid(eye)
    assert all(with_it.get(day, 0) >= count for day, count in without.items())


@few
@given(data=st.data())
def test_a_pressure_fact_never_means_fewer_visits_or_a_laxer_tier(data, made, told):
    """Every visit is a pressure check, so the number of visits is the number of checks."""
    record = data.draw(made.records(eyes=(1, 1, 2)))
    eye = record["operations"][0]["eye"]
    more = data.draw(
        st.sampled_from(
            [
                ("eye", {"glaucoma": True}),
                ("eye", {"damaged_nerve": True}),
                ("eye", {"steroid_responder": True}),
                ("eye", {"after_earlier_operation": {"pressure_rise_on_steroid": True}}),
                ("operation", None),
            ]
        )
    )
    place, facts = more
    before = made.without(record, "operation", "steroid") if facts is None else record
    facts = facts or {"steroid": [data.draw(made.steroid)]}
    less, more_told = told(before), told(made.with_facts(before, place, **facts))
    assert more_told.plan.tiers[eye] <= less.plan.tiers[eye]
    assert len(more_told.plan.trips) >= len(less.plan.trips)
    assert {n for n in less.windows() if "pressure-early" in n} <= set(more_told.windows())


@few
@given(data=st.data())
def test_an_only_eye_or_an_event_is_never_first_looked_at_later(data, made, told):
    record = data.draw(made.records(eyes=(1,)))
    eye = record["operations"][0]["eye"]
    place, fact = data.draw(
        st.sampled_from(
            [
                ("eye", "only_seeing"),
                ("operation", "capsule_torn"),
                ("operation", "bleeding"),
                ("operation", "cornea_touched"),
                ("operation", "zonules_weak"),
            ]
        )
    )
    with_it = told(made.with_facts(record, place, **{fact: True})).need(f"{eye}:first-look")
    without = told(record).need(f"{eye}:first-look")
    assert with_it.latest <= without.latest
    assert with_it.target <= without.target
    assert told(made.with_facts(record, place, **{fact: True})).windows()[f"{eye}:first-look"] == (1, 1, 1)


@few
@given(data=st.data())
def test_glasses_come_after_the_steroid_and_two_weeks_after_the_last_stitch(data, made, told):
    plan = told(data.draw(made.records()))
    on = {key: trip.date for trip in plan.plan.trips for key in trip.serves}
    for need in plan.plan.needs:
        last = plan.plan.last_steroid_day.get(need.eye)
        if need.kind == "refraction" and last:
            assert need.earliest > last
        stitch = on.get(f"{need.eye}:stitches")
        if need.kind == "refraction" and need.key in on and stitch:
            assert on[need.key] >= stitch + timedelta(days=14)


@few
@given(data=st.data())
def test_every_need_is_seen_inside_its_window_or_named(data, made, told):
    record, as_of = data.draw(made.followed())
    last = parse_record(record).last_operation_day
    plan = told(record, as_of=max(0, as_of - (last - made.first).days))
    today = plan.plan.as_of
    on = {key: trip.date for trip in plan.plan.trips if trip.date >= today for key in trip.serves}
    asked = {q.id for q in plan.plan.questions}
    impossible = {i.need for i in plan.plan.impossible}
    for need in plan.plan.needs:
        if need.state == "served":
            assert need.served_on <= today
        elif need.key in on:
            assert need.earliest <= on[need.key] <= need.latest
        else:
            assert need.key in impossible or f"done-{need.key.replace(':', '-')}" in asked
            assert not plan.plan.signable


@few
@given(data=st.data())
def test_the_rounds_hold_exactly_the_drops_of_the_courses(data, made, told):
    plan = told(data.draw(made.records()))
    active = {c.key: c for c in plan.plan.courses if c.state == "active"}
    for phase in plan.plan.rounds:
        for day in (phase.start, phase.end):
            wanted = {key: c.count_on(day) for key, c in active.items() if c.count_on(day)}
            assert {d.course: d.count for d in phase.doses} == wanted
        for dose in phase.doses:
            assert len(dose.times) == len(set(dose.times)) == dose.count
            assert set(dose.times) <= set(phase.times)
    assert all(one.end < two.start for one, two in pairwise(plan.plan.rounds))


@few
@given(data=st.data())
def test_the_same_record_gives_the_same_bytes_in_whatever_order_its_keys_stand(data, made, told):
    record = data.draw(made.records())
    turned = json.loads(json.dumps(record), object_pairs_hook=lambda pairs: dict(reversed(pairs)))
    one, two = told(record).plan, told(turned).plan
    assert one.model_dump_json() == two.model_dump_json()
    again = parse_record(json.loads(parse_record(record).model_dump_json()))
    assert told(again).plan.model_dump_json() == one.model_dump_json()
