"""Medicines from before the operation go on where the plan stops speaking of them."""

from __future__ import annotations

from datetime import timedelta
from importlib.resources import files

import pytest

from followup.clinical.plan.build import build_plan
from followup.clinical.plan.course_table import course_table
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_json_object, parse_record
from followup.drawings.staircase import build_staircase
from followup.language.dates import long_date, short_date
from followup.language.direction import without_marks
from followup.language.languages import LANGUAGES, language
from followup.sheets.content import SheetOptions, build_content
from followup.sheets.paper.pdf import render_pdf
from followup.sheets.phone import render_phone

PROTOCOL = load_protocol()
LATANOPROST = {"medicine": "latanoprost-0-005", "eye": "right", "times": ["22:00"]}
TIMOLOL = {"medicine": "timolol-0-5", "eye": "both", "count_a_day": 2}


def _record(*in_use, case="01-wanjiru.json"):
    text = (files("followup") / "demo" / "cases" / case).read_text("utf-8")
    told = parse_json_object(text, case)
    return parse_record(told | {"in_use": list(in_use)} if in_use else told)


@pytest.fixture
def sheet(clinic):
    """The sheet of a record in a language, printed some days after the operation."""

    def made(record, tag="en", later=0, **options):
        plan = build_plan(record, PROTOCOL, as_of=record.last_operation_day)
        content = build_content(
            plan,
            record,
            PROTOCOL.formulary,
            clinic,
            language=tag,
            printed_on=record.last_operation_day + timedelta(days=later),
            options=SheetOptions(calendar=True, **options),
        )
        return plan, content

    return made


def _lines(content, name):
    return [
        without_marks(line.dates)
        for block in content.bottles
        if name in block.bottle.name
        for line in block.lines
    ]


@pytest.mark.parametrize("tag", LANGUAGES)
def test_two_glaucoma_drops_have_no_first_and_no_last_day_in_any_language(tag, sheet):
    plan, content = sheet(_record(LATANOPROST, TIMOLOL), tag)
    ends = {c.last_day for c in plan.courses if c.from_before}
    assert len(ends) == 1, "they end where the plan does"
    block = [b for b in content.bottles if "atanoprost" in b.bottle.name or "imolol" in b.bottle.name]
    dates = [line.dates for b in block for line in b.lines]
    assert len(dates) == 3
    assert not any(char.isdigit() for text in dates for char in text)
    spoken = language(tag)
    dated = [line for b in block for line in (*(x.dates for x in b.lines), *b.notes[:1])]
    for day in (min(c.first_day for c in plan.courses), *ends):
        assert not [line for line in dated if long_date(day, spoken) in line]


def test_their_rounds_go_on_without_an_end_after_all_others(sheet):
    plan, content = sheet(_record(LATANOPROST, TIMOLOL))
    assert without_marks(content.rounds[-1].heading) == "From Tuesday 31 March 2026 on"
    assert [b.name for b in content.rounds[-1].bottles] == [
        "Latanoprost 0.005%",
        "Timolol 0.5%",
        "Timolol 0.5%",
    ]
    last = plan.rounds[-1]
    assert [r.time for r in content.rounds[-1].rounds] == list(last.times)


def test_a_last_day_that_others_share_is_followed_by_what_goes_on_alone(make_plan):
    plan = make_plan()
    shared = plan.model_copy(update={"rounds": plan.rounds[:2]})
    *before, after = course_table(shared, {"left:nsaid"}).days
    assert [(row.start, row.end) for row in before] == [(p.start, p.end) for p in shared.rounds]
    assert (after.start, after.end) == (before[-1].end + timedelta(days=1), None)
    assert after.times == ("06:00", "17:00")
    assert [mark.course.key for mark in after.marks] == ["left:nsaid"]
    *before, after = course_table(plan, {"left:steroid"}).days
    assert [(row.start, row.end) for row in before] == [(p.start, p.end) for p in plan.rounds[:-1]]
    assert (after.start, after.end) == (plan.rounds[-1].start, None)
    assert [row.end for row in course_table(plan, ()).days] == [p.end for p in plan.rounds]


def test_the_calendar_says_neither_a_start_nor_an_end_and_names_them_below(sheet):
    _, content = sheet(_record(LATANOPROST, TIMOLOL))
    told = [(e.kind, e.words) for d in content.calendar.days for e in d.events if "Timolol" in e.words]
    assert {kind for kind, _ in told} == {"open", "discard"}
    assert content.calendar.goes_on == (
        "Right eye, Latanoprost 0.005%: go on with it.",
        "Right eye, Timolol 0.5%: go on with it.",
        "Left eye, Timolol 0.5%: go on with it.",
    )
    visit = next(d for d in content.calendar.days if d.day == "31 March")
    assert [b.name for r in visit.rounds for b in r.bottles].count("Timolol 0.5%") == 4


def test_a_second_medicine_of_one_role_has_a_mark_of_its_own(sheet):
    _, content = sheet(_record(LATANOPROST, TIMOLOL), pictures=True)
    marks = {b.bottle.name: b.bottle.letter for b in content.bottles}
    assert (marks["Latanoprost 0.005%"], marks["Timolol 0.5%"]) == ("P", "P2")
    assert "url(#mark-P)" in render_phone(content)
    assert "url(#mark-P2)" not in render_phone(content)


def test_a_bottle_that_is_thrown_away_is_followed_by_another(sheet):
    _, content = sheet(_record(LATANOPROST))
    notes = {b.bottle.name: b.notes for b in content.bottles}
    assert notes["Latanoprost 0.005%"][-1] == "Get a new bottle before you throw this one away."
    assert notes["Dexamethasone 0.1%"][-1] != notes["Latanoprost 0.005%"][-1]


def test_a_last_day_that_the_record_gives_is_told(sheet):
    record = _record({**LATANOPROST, "until": "2026-03-15"})
    _, content = sheet(record)
    assert _lines(content, "Latanoprost") == ["Until Sunday 15 March 2026"]
    day = next(d for d in content.calendar.days if d.day == "15 March")
    assert "Right eye, Latanoprost 0.005%: today is the last day." in [e.words for e in day.events]
    assert content.calendar.goes_on == ()
    assert _lines(sheet(record, later=20)[1], "Latanoprost") == []


def test_a_last_day_beyond_the_plan_is_told_and_the_drop_goes_on_until_then(sheet):
    record = _record({**LATANOPROST, "until": "2026-08-15"})
    _, content = sheet(record, later=100)
    assert _lines(content, "Latanoprost") == ["Until Saturday 15 August 2026"]
    assert _lines(sheet(record, later=200)[1], "Latanoprost") == []
    assert sheet(record, later=200)[1].rounds == ()


def test_a_sheet_printed_after_a_hundred_days_still_has_the_drops_that_go_on(sheet):
    _, content = sheet(_record(LATANOPROST, TIMOLOL), later=100)
    assert [b.bottle.name for b in content.bottles] == ["Latanoprost 0.005%", "Timolol 0.5%", "Timolol 0.5%"]
    assert [t.heading for t in content.rounds] == ["Every day"]
    assert [r.time for r in content.rounds[0].rounds] == ["10:00", "22:00"]
    assert content.steroid_ends == ()
    assert content.stairs == (), "nothing goes down step by step any more"
    assert "last day" not in " ".join(content.stopping.lines)
    assert content.calendar is None
    assert render_pdf(content)[:5] == b"%PDF-"
    assert "Every day" in render_phone(content)


def test_tablets_that_somebody_else_tapers_have_their_steps_but_no_end(sheet):
    _, content = sheet(_record(case="04-peter.json"))
    lines = _lines(content, "Prednisolone, tablets of 5 mg")
    assert lines == ["Every day"]
    steps = [{"starts": "2026-03-16", "mg": 10}, {"starts": "2026-03-30", "mg": 5}]
    entry = {"medicine": "prednisolone-5-tablet", "route": "mouth", "count_a_day": 1, "mg": 20}
    _, content = sheet(_record({**entry, "ordered_by": "Dr Example", "mg_steps": steps}))
    assert _lines(content, "Prednisolone, tablets of 5 mg") == [
        "Until Sunday 15 March 2026",
        "Monday 16 March 2026 to Sunday 29 March 2026",
        "From Monday 30 March 2026 on",
    ]
    day = next(d for d in content.calendar.days if d.day == "16 March")
    assert "By mouth, Prednisolone, tablets of 5 mg: from today 2 tablets, 1 time a day (10 mg in all)." in [
        e.words for e in day.events
    ]


def test_a_drop_whose_number_is_asked_for_is_not_told_to_wait(sheet):
    entry = {k: v for k, v in TIMOLOL.items() if k != "count_a_day"} | {"eye": "right"}
    _, content = sheet(_record(entry))
    assert content.held is None
    assert "Right eye, Timolol 0.5%: go on with it." in content.cautions.lines


def test_the_drawing_neither_raises_nor_lowers_what_goes_on(sheet):
    plan, content = sheet(_record(LATANOPROST, TIMOLOL))
    (block,) = content.stairs
    stair = next(s for s in block.drawing.stairs if "latanoprost" in s.key)
    assert stair.goes_on
    assert [x for x, _ in stair.points] == [0.0, 1.0]
    assert all(y < 1 for _, y in stair.points)
    drawn = build_staircase(plan)
    assert {s.key for s in drawn.stairs if s.goes_on} == {c.key for c in plan.courses if c.from_before}
    assert short_date(drawn.end, language("en")) == "31 March"
