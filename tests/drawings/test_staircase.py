"""The staircase drawing: what it shows, at any size, in either direction of time."""

from __future__ import annotations

from datetime import date
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.clinical.careplan import CarePlan, Course, Step
from followup.drawings.staircase import build_staircase
from followup.drawings.staircase_svg import staircase_svg


def _svg(model, size: str, label: str = "") -> ET.Element:
    return ET.fromstring(staircase_svg(model, size, label))


def _all(svg: ET.Element, tag: str) -> list[ET.Element]:
    return svg.findall(f"{{http://www.w3.org/2000/svg}}{tag}")


def test_the_steroid_is_filled_and_stands_first(plan):
    model = build_staircase(plan)
    assert [(s.key, s.filled) for s in model.stairs] == [
        ("left:steroid", True),
        ("left:antibiotic", False),
        ("left:nsaid", False),
    ]
    assert {s.dash for s in model.stairs[1:]} == {0, 1}


def test_it_spans_from_the_first_to_the_last_day_of_drops_and_trips(plan):
    model = build_staircase(plan, today=date(2026, 6, 1))
    assert (model.start, model.end, model.days) == (date(2026, 6, 2), date(2026, 7, 6), 35)
    assert model.today is None, "the operation's day lies before the first drop day"


def test_each_tread_is_lower_than_the_one_before(plan):
    heights = [tread.y for tread in build_staircase(plan).stairs[0].treads]
    assert heights == sorted(heights)
    assert heights[0] == 0


def test_mirrored_time_is_the_same_drawing_turned_over(plan):
    plain, turned = build_staircase(plan), build_staircase(plan, mirrored=True)
    for one, other in zip(plain.stairs, turned.stairs, strict=True):
        assert [(round(1 - x, 4), y) for x, y in one.points] == [(round(x, 4), y) for x, y in other.points]


def test_a_plan_without_drops_or_trips_has_no_staircase(make_plan):
    assert build_staircase(make_plan(courses=(), trips=())) is None


def test_trips_done_missed_and_to_come_look_different(make_plan):
    plan = make_plan()
    trips = tuple(
        trip.model_copy(update={"status": status})
        for trip, status in zip(plan.trips, ("fulfilled", "noshow", "booked"), strict=True)
    )
    model = build_staircase(plan.model_copy(update={"trips": trips}), today=date(2026, 6, 10))
    assert [tick.state for tick in model.ticks] == ["done", "missed", "open"]
    svg = _svg(model, "card")
    assert [c.get("fill") for c in _all(svg, "circle")] == ["currentColor", "none"]
    assert len(_all(svg, "path")) == 3, "one cross, and the line and head of today"


def test_a_visit_of_which_a_part_was_looked_at_is_half_filled_neither_done_nor_missed(make_plan):
    plan = make_plan()
    trips = tuple(
        trip.model_copy(update={"status": status})
        for trip, status in zip(plan.trips, ("fulfilled", "arrived", "booked"), strict=True)
    )
    model = build_staircase(plan.model_copy(update={"trips": trips}))
    assert [tick.state for tick in model.ticks] == ["done", "part", "open"]
    svg = _svg(model, "card")
    circles = _all(svg, "circle")
    assert [c.get("fill") for c in circles] == ["currentColor", "none", "none"]
    (half,) = _all(svg, "path")
    x, y, r = (float(circles[1].get(name)) for name in ("cx", "cy", "r"))
    assert (half.get("d"), half.get("fill")) == (
        f"M{x - r} {y}A{r:g} {r:g} 0 0 0 {x + r} {y}Z",
        "currentColor",
    )


@pytest.mark.parametrize(("size", "width"), [("row", "120"), ("card", "320"), ("page", "960")])
def test_every_size_is_one_well_formed_picture_with_its_words(plan, size, width):
    svg = _svg(build_staircase(plan), size, 'drops of "left" eye')
    assert svg.get("width") == width
    assert svg.get("aria-label") == 'drops of "left" eye'
    assert len(_all(svg, "polyline")) == 3
    assert not [e for e in svg.iter() if e.get("style")], "inline style is refused by the pages' policy"


def test_the_larger_sizes_write_the_drops_a_day_on_the_steps(plan):
    assert [t.text for t in _all(_svg(build_staircase(plan), "card"), "text")] == ["4", "3", "2", "1"]
    assert not _all(_svg(build_staircase(plan), "row"), "text")


counts = st.lists(
    st.tuples(st.integers(1, 16), st.integers(1, 40), st.integers(0, 3)), min_size=1, max_size=6
)


@given(counts, st.booleans())
def test_no_point_ever_leaves_the_frame(pairs, mirrored):
    start, made = date(2026, 1, 1).toordinal(), []
    for count, days, pause in pairs:
        made.append(Step(start=date.fromordinal(start), days=days, count=count))
        start += days + pause
    course = Course(key="right:steroid", role="steroid", medicine="x", eye="right", steps=tuple(made))
    plan = CarePlan(
        patient="P", as_of=date(2026, 1, 1), status="draft", protocol="p", protocol_hash="h",
        approved=False, engine="1", courses=(course,),
    )  # fmt: skip
    points = build_staircase(plan, mirrored=mirrored).stairs[0].points
    assert all(0 <= x <= 1 and 0 <= y <= 1 for x, y in points)
    assert points[0][1] == points[-1][1] == 1.0
