"""The time line of an eye: nothing meets, nothing leaves the paper, and the words say what is drawn."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from time_lines import R, a_course, a_look, a_plan, a_record, day

from followup.drawings.shapes import Bar, DrawnMark, Path, Text
from followup.drawings.timeline import Known, build_timeline
from followup.drawings.timeline_layout import HALF, NARROW, WIDTH, Layout
from followup.drawings.timeline_svg import chart_svg, timeline_rows, timeline_svg, timeline_table
from followup.drawings.timeline_words import ENGLISH, TimelineWords

SVG = "{http://www.w3.org/2000/svg}"
CELLS = ["0", "0.5+", "1+", "2+", "3+", "4+", "not seen"]


@st.composite
def lines(draw):
    """Any time line of 8 to 120 days."""
    last = draw(st.integers(8, 120))
    lengths = draw(st.lists(st.integers(1, 21), min_size=1, max_size=8))
    steps, left = [], last
    for i, length in enumerate(lengths):
        if left:
            steps.append((max(1, 16 - 2 * i), min(length, left)))
            left -= min(length, left)
    days = draw(st.lists(st.integers(0, last), max_size=12, unique=True))
    seen = [
        a_look(
            at,
            cells=draw(st.sampled_from(CELLS)),
            flare=draw(st.sampled_from(["0", "1+", "4+", "not seen"])),
            pressure=draw(st.sampled_from([4, 14.5, 31, 62, "not done"])),
            vision=draw(st.sampled_from(["6/6", "counting fingers at one metre", "NPL", "long " * 20])),
        )
        for at in days
    ]
    states = st.sampled_from(["proposed", "booked", "fulfilled", "noshow"])
    visits = [(at, draw(states)) for at in draw(st.lists(st.integers(0, last), max_size=10, unique=True))]
    others = [
        a_course((3, min(7, last)), (2, 5), role=role)
        for role in draw(st.sampled_from([(), ("nsaid",), ("nsaid", "antibiotic")]))
    ]
    first = a_plan(a_course(*steps[:1]))
    now = a_plan(a_course(*steps, state=draw(st.sampled_from(["active", "held"]))), *others, visits=visits)
    as_of = draw(st.integers(0, last))
    record = a_record(seen)
    known = Known(
        expected=draw(st.sampled_from([(), ((1, 3), (5, 2), (14, 1), (28, 0))])),
        before=draw(st.sampled_from([None, 9.0, 17.0, 58.0])),
        decided=tuple(day(at) for at in days[:3]),
        until=draw(st.sampled_from([None, day(as_of + 14)])),
    )
    return build_timeline([first, now], record, "right", day(as_of), known=known), as_of


@settings(max_examples=60, deadline=None)
@given(lines())
def test_no_two_words_meet_and_nothing_lies_outside(drawn):
    for width in (WIDTH, HALF, NARROW):
        _lies_well(Layout(drawn[0], ENGLISH, width=width), width)


def _lies_well(layout, width):
    for shape in layout.shapes:
        box = shape.box
        assert box.left >= 0, shape
        assert box.right <= width, shape
        assert box.top >= 0, shape
        assert box.bottom <= layout.height, shape
    words = [shape for shape in layout.shapes if isinstance(shape, Text)]
    for one, two in combinations(words, 2):
        assert not one.box.meets(two.box), (one, two)
    bars = [shape for shape in layout.shapes if isinstance(shape, Bar)]
    for one, two in combinations(bars, 2):
        assert not one.box.meets(two.box), (one, two)
    for word in words:
        for bar in bars:
            assert not word.box.meets(bar.box), (word, bar)


@pytest.mark.parametrize("last", [8, 28, 77, 120])
def test_the_picture_is_one_well_formed_drawing_with_a_name_and_a_description(last):
    plan = a_plan(a_course((4, last)), visits=[(1, "fulfilled"), (last, "proposed")])
    record = a_record([a_look(1), a_look(7)])
    root = ElementTree.fromstring(timeline_svg(build_timeline([plan], record, "right", day(8))))
    assert root.get("role") == "img"
    ids = [e.get("id") for e in root if e.tag in (SVG + "title", SVG + "desc")]
    assert root.get("aria-labelledby") == " ".join(ids)
    assert "right eye, operated on 2 March 2026" in root.findtext(SVG + "title")
    assert "day 7: cells 1+" in root.findtext(SVG + "desc")
    for element in root.iter():
        assert element.tag != SVG + "script"
        assert not {"style", "class"} & set(element.keys())


def test_every_colour_is_ink_so_that_black_and_white_says_the_same():
    plan = a_plan(a_course(*R), a_course((4, 7), role="antibiotic"))
    svg = timeline_svg(build_timeline([plan], a_record([a_look(1)]), "right", day(7)))
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) == {"currentColor", "none"}


def test_the_course_in_force_is_filled_and_the_first_plan_dashed_where_they_differ():
    first, now = a_plan(a_course(*R)), a_plan(a_course((4, 7), (8, 7), *R))
    line = build_timeline([first, now], a_record(), "right", day(8))
    assert [(s.start, s.end, s.count) for s in line.steroid][:3] == [(1, 7, 4), (8, 14, 8), (15, 21, 4)]
    assert line.planned
    shapes = Layout(line, ENGLISH).shapes
    assert [p for p in shapes if isinstance(p, Path) and p.closed]
    assert [p for p in shapes if isinstance(p, Path) and p.dash == "6 3"]
    same = build_timeline([now, now], a_record(), "right", day(8))
    assert same.planned == ()


def test_a_held_steroid_is_drawn_hollow():
    line = build_timeline([a_plan(a_course(*R, state="held"))], a_record(), "right", day(0))
    assert not [p for p in Layout(line, ENGLISH).shapes if isinstance(p, Path) and p.closed]


def test_cells_that_were_not_seen_have_a_question_mark_and_no_bar():
    seen = [a_look(1, cells="0"), a_look(7, cells="not seen", pressure="not done")]
    line = build_timeline([a_plan(a_course(*R))], a_record(seen), "right", day(8))
    assert [(m.cells, m.cells_word, m.pressure) for m in line.looks] == [(0, "0", 16.0), (None, "?", None)]
    layout = Layout(line, ENGLISH)
    assert len([s for s in layout.shapes if isinstance(s, Bar)]) == 1
    assert len([s for s in layout.shapes if isinstance(s, DrawnMark) and s.kind == "filled"]) == 1


def test_visits_to_come_done_and_missed_differ_in_shape():
    visits = [(1, "fulfilled"), (7, "noshow"), (29, "proposed"), (30, "cancelled")]
    line = build_timeline([a_plan(a_course(*R), visits=visits)], a_record(), "right", day(8))
    kinds = [s.kind for s in Layout(line, ENGLISH).shapes if isinstance(s, DrawnMark)]
    assert kinds == ["filled", "crossed", "hollow"]


def test_the_table_beside_it_says_every_change_look_and_visit():
    plan = a_plan(a_course(*R), visits=[(7, "fulfilled"), (29, "proposed")])
    line = build_timeline([plan], a_record([a_look(7, flare="1+")]), "right", day(8))
    rows = list(timeline_rows(line))
    assert [row[0] for row in rows] == ["1", "7", "8", "15", "22", "29"]
    assert rows[1] == ("7", "9 March 2026", "4", "1+", "1+", "16", "6/9", "done")
    assert rows[-1] == ("29", "31 March 2026", "0", "", "", "", "", "to come")
    table = ElementTree.fromstring(timeline_table(build_timeline([plan], a_record(), "right", day(8))))
    assert len(table.findall("tr")) == len(rows) + 1
    assert {th.get("scope") for th in table.iter("th")} == {"col", "row"}


def test_every_word_of_the_drawing_and_its_table_can_be_said_in_another_language():
    """A made-up language that marks every word of its messages: what is not marked stands in no message."""
    plan = a_plan(
        a_course(*R, state="held"), a_course((4, 7), role="antibiotic"), visits=[(1, "noshow"), (7, "booked")]
    )
    told = TimelineWords(
        gettext=lambda text: " ".join(f"\u2051{word}" for word in text.split()),
        day=lambda day: f"\u2051{day.isoformat()}",
    )
    plans = [a_plan(a_course((2, 7))), plan]
    line = build_timeline(plans, a_record([a_look(7, cells="not seen")]), "right", day(8))
    for html in (timeline_svg(line, told), timeline_table(line, told)):
        shown = [text.strip() for text in re.findall(r">([^<>]*[a-z]{2}[^<>]*)<", html) if text.strip()]
        assert len(shown) > 8
        assert not [word for text in shown for word in text.split() if not word.startswith("\u2051")]


def test_a_long_name_of_a_band_and_a_long_heading_stay_inside_the_drawing():
    long = TimelineWords(
        gettext=lambda text: text if "{" in text else f"{text} und noch viel mehr Worte dazu, " * 2
    )
    line = build_timeline([a_plan(a_course(*R))], a_record([a_look(1)]), "right", day(3))
    layout = Layout(line, long)
    assert all(s.box.left >= 0 and s.box.right <= WIDTH for s in layout.shapes if isinstance(s, Text))


def test_a_long_name_is_cut_and_the_count_beside_it_never():
    plan = a_plan(a_course(*R), a_course((3, 14), (2, 7), role="nsaid"))
    line = build_timeline([plan], a_record(), "right", day(3))
    (bottle,) = line.bottles
    long = replace(line, bottles=(replace(bottle, name="A name that goes on " * 8),))
    texts = [s.text for s in Layout(long, ENGLISH).shapes if isinstance(s, Text)]
    (told,) = [text for text in texts if text.startswith("A name")]
    assert told.endswith("…: 3, 2 a day")


def test_right_to_left_words_keep_their_direction_in_a_drawing_that_runs_from_the_left():
    line = build_timeline([a_plan(a_course(*R))], a_record(), "right", day(2))
    svg = timeline_svg(line, TimelineWords(rtl=True))
    root = ElementTree.fromstring(svg)
    assert root.get("direction") == "ltr"
    words = [e.text for e in root.iter(SVG + "text") if re.search("[a-z]{2}", e.text or "")]
    assert words
    assert all(text.startswith("\u2067") and text.endswith("\u2069") for text in words)


def test_time_runs_from_right_to_left_where_the_words_do():
    plan = a_plan(a_course(*R), a_course((2, 14), role="nsaid"), visits=[(1, "fulfilled"), (7, "proposed")])
    line = build_timeline([plan], a_record([a_look(1), a_look(7)]), "right", day(8))
    layout = Layout(line, TimelineWords(rtl=True))
    visits = [mark.x for mark in layout.shapes if isinstance(mark, DrawnMark)][-2:]
    names = [text for text in layout.shapes if isinstance(text, Text) and "visits" in text.text]
    bars = [bar.box for bar in layout.shapes if isinstance(bar, Bar)]
    assert names[0].box.left > visits[0] > visits[1]
    assert bars
    assert all(bar.right <= names[0].box.left for bar in bars)
    assert all(s.box.left >= -0.01 and s.box.right <= WIDTH + 0.01 for s in layout.shapes)


def test_names_from_the_record_are_written_out_not_run():
    record = a_record([a_look(1, vision='<script>"6/9"')])
    line = build_timeline([a_plan(a_course(*R))], record, "right", day(2))
    svg = timeline_svg(line)
    assert "<script>" not in svg
    ElementTree.fromstring(svg)
    assert "<script>" not in timeline_table(line)


def test_two_eyes_stand_one_under_the_other():
    courses = a_course(*R), a_course(*R, start=11, eye="left")
    root = ElementTree.fromstring(chart_svg([a_plan(*courses)], a_record(both=True), day(12)))
    pictures = root.findall(SVG + "svg")
    assert pictures[0].get("y") == "0"
    assert float(pictures[1].get("y")) == float(pictures[0].get("height"))
    assert float(root.get("height")) == sum(float(p.get("height")) for p in pictures)


def test_findings_after_the_day_and_of_the_other_eye_are_not_drawn():
    left = a_look(12) | {"eye": "left"}
    record = a_record([a_look(1), a_look(20), left], both=True)
    line = build_timeline([a_plan(a_course(*R))], record, "right", day(14))
    assert [mark.day for mark in line.looks] == [1]


def test_no_letter_is_under_11_px_on_a_telephone():
    """Drawn 358 px wide and shown so: what is left of 390 px between the edges of a page."""
    now = a_plan(a_course(*R), a_course((2, 20), role="nsaid"), visits=[(1, "fulfilled"), (9, "proposed")])
    known = Known(expected=((1, 3), (5, 2)), before=17.0, decided=(day(7),))
    line = build_timeline([now], a_record([a_look(1), a_look(7)]), "right", day(8), known=known)
    layout = Layout(line, ENGLISH, width=NARROW)
    assert NARROW <= 390 - 2 * 16
    assert min(text.size for text in layout.shapes if isinstance(text, Text)) >= 11


def test_the_most_cells_expected_are_a_line_over_the_cells_and_a_column_of_the_table():
    known = Known(expected=((1, 3), (5, 2)), before=17.0)
    line = build_timeline([a_plan(a_course(*R))], a_record([a_look(7)]), "right", day(8), known=known)
    shapes = Layout(line, ENGLISH).shapes
    (expected,) = [p for p in shapes if isinstance(p, Path) and p.dash == "5 2"]
    low, high = {y for _, y in expected.points}, expected.points[0][1]
    assert len(low) == 2
    assert high == min(low)
    assert "before surgery 17" in [text.text for text in shapes if isinstance(text, Text)]
    assert [(row[0], row[-1]) for row in timeline_rows(line)][:2] == [("1", "2+"), ("7", "1+")]


def test_what_is_drawn_ends_two_weeks_from_now_where_that_is_asked():
    plan = a_plan(a_course(*R), visits=[(1, "fulfilled"), (29, "proposed")])
    line = build_timeline([plan], a_record(), "right", day(3), known=Known(until=day(17)))
    assert (line.last, [v.day for v in line.visits], line.steroid[-1].end) == (17, [1], 17)


def test_tablets_are_drawn_beside_the_drops_of_the_eye():
    tablets = a_course((3, 5), role="pressure", eye=None)
    line = build_timeline([a_plan(a_course(*R), tablets)], a_record(), "right", day(3))
    assert [b.stretches[0].count for b in line.bottles] == [3]


def test_an_eye_that_was_not_operated_has_no_time_line():
    with pytest.raises(ValueError, match="operation of the eye"):
        build_timeline([a_plan(a_course(*R))], a_record(), "left", day(3))


def test_the_edges_that_these_tests_measure_by_are_those_of_what_is_drawn():
    """A letter is taken for 0.62 of its size; a text stands from its capitals' top to its letters' foot."""
    texts = [Text(100, 50, "abcd", 10, anchor).box for anchor in ("start", "middle", "end")]
    assert [(box.left, round(box.right, 6)) for box in texts] == [(100, 124.8), (87.6, 112.4), (75.2, 100)]
    assert {(box.top, box.bottom) for box in texts} == {(42, 52.2)}
    path = Path(((3, 9), (7, 2), (1, 5)), 1).box
    assert (path.left, path.top, path.right, path.bottom) == (1, 2, 7, 9)
    bar, mark = Bar(2, 3, 10, 4).box, DrawnMark(20, 30, 2, "filled").box
    assert (bar.left, bar.top, bar.right, bar.bottom) == (2, 3, 12, 7)
    assert (mark.left, mark.top, mark.right, mark.bottom) == (18, 28, 22, 32)
    beside = [Bar(12, 3, 1, 4), Bar(2, 7, 10, 1), Bar(1, 3, 1, 4), Bar(2, 2, 10, 1)]
    assert [bar.meets(other.box) for other in beside] == [False] * 4
    over = [Bar(11, 3, 2, 4), Bar(2, 6, 10, 2), Bar(1, 3, 2, 4), Bar(2, 2, 10, 2)]
    assert [bar.meets(other.box) for other in over] == [True] * 4
