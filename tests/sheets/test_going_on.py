"""Medicines from before the operation go on where the plan stops speaking of them."""

from __future__ import annotations

from datetime import timedelta
from importlib.resources import files

import pytest
from leaf_rows import cell_times, dates, plain, rows_of_days, times

from followup.clinical.plan.build import build_plan
from followup.clinical.plan.course_table import course_table
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_json_object, parse_record
from followup.drawings.staircase import build_staircase
from followup.language.dates import long_date, row_day, short_date
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


def _days(content, name) -> list[str]:
    """The days of the rows in which a medicine stands."""
    return [
        plain(row.dates)
        for row in rows_of_days(content)
        if any(name in mark.bottle.name for mark in row.marks)
    ]


def _block(content, name):
    return next(b for b in content.bottles if name in b.bottle.name)


@pytest.mark.parametrize("tag", LANGUAGES)
def test_two_glaucoma_drops_have_no_first_and_no_last_day_in_any_language(tag, sheet):
    plan, content = sheet(_record(LATANOPROST, TIMOLOL), tag)
    ends = {c.last_day for c in plan.courses if c.from_before}
    assert len(ends) == 1, "they end where the plan does"
    *before, last = rows_of_days(content)
    blocks = [b for b in content.bottles if "atanoprost" in b.bottle.name or "imolol" in b.bottle.name]
    assert len(blocks) == 3
    assert [mark.bottle for mark in last.marks] == [b.bottle for b in blocks]
    assert all({b.bottle.due for b in blocks} <= {m.bottle.due for m in row.marks} for row in before)
    spoken = language(tag)
    told = [text for b in blocks for text in (*b.use, *b.notes)]
    for day in (min(c.first_day for c in plan.courses), *ends):
        assert not [line for line in (*told, last.dates) if long_date(day, spoken) in line]
    for end in ends:
        assert row_day(end, spoken) not in last.dates


def test_their_rounds_go_on_without_an_end_after_all_others(sheet):
    plan, content = sheet(_record(LATANOPROST, TIMOLOL))
    last = content.table.rows[-1]
    assert plain(last.dates) == "From Tue 31 March on"
    assert [m.bottle.name for m in last.marks] == ["Latanoprost 0.005%", "Timolol 0.5%", "Timolol 0.5%"]
    every = {time for mark in last.marks for time in cell_times(content, mark)}
    assert [time for time in times(content) if time in every] == list(plan.rounds[-1].times)


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


def test_the_days_to_tick_name_below_what_does_not_end(sheet):
    _, content = sheet(_record(LATANOPROST, TIMOLOL))
    assert content.calendar.goes_on == (
        "Right eye, Latanoprost 0.005%: go on with it.",
        "Right eye, Timolol 0.5%: go on with it.",
        "Left eye, Timolol 0.5%: go on with it.",
    )
    marks = content.table.rows[content.calendar.days[-1].row].marks
    drops = [len(cell_times(content, m)) for m in marks if m.bottle.name == "Timolol 0.5%"]
    assert drops == [2, 2]


def test_a_second_medicine_of_one_role_has_a_mark_of_its_own(sheet):
    _, content = sheet(_record(LATANOPROST, TIMOLOL))
    marks = {b.bottle.name: b.bottle.letter for b in content.bottles}
    assert (marks["Latanoprost 0.005%"], marks["Timolol 0.5%"]) == ("P", "P2")
    drawn = {(m.bottle.name, m.bottle.letter) for row in rows_of_days(content) for m in row.marks}
    assert {(name, letter) for name, letter in drawn if letter[0] == "P"} == {
        ("Latanoprost 0.005%", "P"),
        ("Timolol 0.5%", "P2"),
    }


def test_a_bottle_that_is_thrown_away_is_followed_by_another(sheet):
    _, content = sheet(_record(LATANOPROST))
    assert _block(content, "Latanoprost").lines[-1].next == "ask us in good time"
    assert _block(content, "Dexamethasone").lines[-1].next == ""


def test_a_last_day_that_the_record_gives_is_told(sheet):
    record = _record({**LATANOPROST, "until": "2026-03-15"})
    _, content = sheet(record)
    assert _days(content, "Latanoprost")[-1].endswith("Sun 15 March")
    day = next(d for d in content.calendar.days if plain(d.day) == "Sun 15 March")
    last = content.table.rows[day.row]
    assert "Latanoprost 0.005%" in [m.bottle.name for m in last.marks]
    assert plain(last.dates).endswith("Sun 15 March")
    assert content.calendar.goes_on == ()
    assert [c.next for c in _block(content, "Latanoprost").lines][-1] == ""
    assert _days(sheet(record, later=20)[1], "Latanoprost") == []


def test_a_last_day_beyond_the_plan_is_told_and_the_drop_goes_on_until_then(sheet):
    record = _record({**LATANOPROST, "until": "2026-08-15"})
    _, content = sheet(record, later=100)
    assert _days(content, "Latanoprost") == ["Every day"]
    assert _days(sheet(record, later=200)[1], "Latanoprost") == []
    assert rows_of_days(sheet(record, later=200)[1]) == []


def test_a_sheet_printed_after_a_hundred_days_still_has_the_drops_that_go_on(sheet):
    _, content = sheet(_record(LATANOPROST, TIMOLOL), later=100)
    assert [b.bottle.name for b in content.bottles] == ["Latanoprost 0.005%", "Timolol 0.5%", "Timolol 0.5%"]
    assert dates(content) == ["Every day"]
    assert times(content) == ["10:00", "22:00"]
    assert content.steroid_ends == ()
    assert content.stairs == (), "nothing goes down step by step any more"
    assert "last day" not in " ".join(content.stopping.lines)
    assert content.calendar is None
    assert render_pdf(content)[:5] == b"%PDF-"
    assert "Every day" in render_phone(content)


def test_tablets_that_somebody_else_tapers_have_their_steps_but_no_end(sheet):
    _, content = sheet(_record(case="04-peter.json"))
    assert _days(content, "Prednisolone, tablets of 5 mg")[-1].startswith("From ")
    steps = [{"starts": "2026-03-16", "mg": 10}, {"starts": "2026-03-30", "mg": 5}]
    entry = {"medicine": "prednisolone-5-tablet", "route": "mouth", "count_a_day": 1, "mg": 20}
    _, content = sheet(_record({**entry, "ordered_by": "Dr Example", "mg_steps": steps}))
    taken = [
        (plain(row.dates), mark.figure, mark.amount)
        for row in rows_of_days(content)
        for mark in row.marks
        if mark.bottle.kind == "tablet"
    ]
    said = [(days, figure, amount) for days, figure, amount in taken if amount]
    assert [(figure, amount) for _, figure, amount in said] == [
        ("4", "4 tablets (20 mg)"),
        ("2", "2 tablets (10 mg)"),
        ("1", "1 tablet (5 mg)"),
    ]
    assert [days.split(" – ")[0] for days, _, _ in said[1:]] == ["Mon 16 March", "Mon 30 March"]
    assert taken[-1] == (taken[-1][0], "1", None)
    assert taken[-1][0].startswith("From ")


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
