"""The one table says for every day to come what the plan says, and nothing of a day that is over."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from leaf_rows import cell_times, dates, plain, rows_of_days, rows_of_visits, times
from routine_plans import OPERATED, course, day, phase, routine_plan, trip

from followup.clinical.careplan import CarePlan, Course, Step
from followup.clinical.day_plan import DayPhase, Dose
from followup.clinical.plan.course_table import MOST_ROUNDS
from followup.sheets.model import DaysLine, RowMark, SheetContent, VisitLine
from followup.sheets.options import SheetOptions
from followup.sheets.table import _MOST_COLUMNS

some = settings(max_examples=80, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
MONTHS = {"June": 6, "July": 7, "August": 8, "September": 9, "October": 10}
HOURS = tuple(f"{hour:02d}:00" for hour in range(6, 24))
# Key, role, medicine and the letter of its mark; the last is from before the operation and goes on.
BOTTLES = (
    ("left:steroid", "steroid", "prednisolone-acetate-1", "S"),
    ("left:antibiotic", "antibiotic", "moxifloxacin-0-5", "A"),
    ("right:nsaid", "nsaid", "bromfenac-0-09", "N"),
    ("left:dorzolamide-2", "pressure", "dorzolamide-2", "P"),
)
GOES_ON = "left:dorzolamide-2"
LETTER = {(key.partition(":")[0], letter): key for key, _, _, letter in BOTTLES}


def _phases(parts: list[tuple[int, dict[str, tuple[str, ...]]]]) -> tuple[DayPhase, ...]:
    """One after the other from the day after the operation: so many days, each bottle's times."""
    found, start = [], day(1)
    for length, given_times in parts:
        doses = tuple(Dose(course=k, count=len(t), times=t) for k, t in given_times.items() if t)
        every = tuple(sorted({time for dose in doses for time in dose.times}))
        if doses:
            end = start + timedelta(days=length - 1)
            found.append(DayPhase(start=start, end=end, times=every, doses=doses))
        start += timedelta(days=length)
    return tuple(found)


def _course(phases: tuple[DayPhase, ...], key: str, role: str, medicine: str) -> Course | None:
    steps = tuple(
        Step(start=p.start, days=(p.end - p.start).days + 1, count=dose.count)
        for p in phases
        for dose in p.doses
        if dose.course == key
    )
    before = key == GOES_ON
    eye = key.partition(":")[0]
    return steps and Course(
        key=key, role=role, medicine=medicine, eye=eye, steps=steps, from_before=before, goes_on=before
    )


def plan_of(parts, visits=()) -> CarePlan:
    phases = _phases(parts)
    made = (_course(phases, key, role, medicine) for key, role, medicine, _ in BOTTLES)
    trips = tuple(trip(number, on, status=status) for number, (on, status) in enumerate(visits, 1))
    courses = tuple(c for c in made if c)
    return routine_plan(approved=True, courses=courses, rounds=phases, supply=(), trips=trips)


clock_times = st.sets(st.sampled_from(HOURS), max_size=14).map(lambda found: tuple(sorted(found)))
parts = st.lists(
    st.tuples(st.integers(1, 9), st.fixed_dictionaries({key: clock_times for key, *_ in BOTTLES})),
    min_size=1,
    max_size=4,
)
statuses = st.sampled_from(["proposed", "booked", "booked", "arrived", "fulfilled", "noshow", "cancelled"])
visits = st.lists(st.tuples(st.integers(1, 60), statuses), max_size=6, unique_by=lambda visit: visit[0])
plans = st.builds(plan_of, parts, visits)
printings = st.integers(0, 45).map(day)
papers = st.builds(
    SheetOptions, paper=st.sampled_from(["A4", "A5", "Letter"]), size=st.sampled_from(["normal", "large"])
)


def _day_of(text: str, otherwise: str = "") -> date:
    """ "Mon 8 June" or "Mon 8"; the weekday must be the day's own."""
    weekday, number, month = [*text.split(), otherwise][:3]
    found = date(OPERATED.year, MONTHS[month], int(number))
    assert f"{found:%a}" == weekday
    return found


def _span(text: str, printed: date) -> tuple[date, date]:
    """The first and the last day of a row as its words say."""
    if text == "Every day":
        return printed, date.max
    if found := re.fullmatch(r"From (.+) on", text):
        return _day_of(found[1]), date.max
    first, _, last = text.partition(" – ")
    last = last or first
    return _day_of(first, last.split()[2]), _day_of(last)


def _told_times(line: str) -> list[str]:
    """One by one; "every 2 hours from 06:00 to 10:00" is three of them."""
    return [time for part in line.split(", ") for time in _times_of(part)]


def _times_of(part: str) -> list[str]:
    found = re.findall(r"\d\d:\d\d", part)
    run = re.match(r"every (?:(\d+) hours|hour) from", part)
    if not run:
        return found
    start, end = (int(time[:2]) for time in found)
    return [f"{hour:02d}:00" for hour in range(start, end + 1, int(run[1] or 1))]


def _goes_in(content: SheetContent, row: DaysLine) -> dict[str, list[str]]:
    """When each course goes in, as the row says it; by its mark alone."""
    return {
        LETTER[m.bottle.side, m.bottle.letter]: _told_times(m.line) if row.told else cell_times(content, m)
        for m in row.marks
    }


def _due(plan: CarePlan, on: date) -> dict[str, list[str]]:
    """When each course goes in by the plan's rounds; what goes on does so as on the last of them."""
    doses = {d.course: list(d.times) for p in plan.rounds if p.start <= on <= p.end for d in p.doses}
    last = max(plan.rounds, key=lambda p: p.end, default=None)
    if last and on > last.end:
        doses = {d.course: list(d.times) for d in last.doses if d.course == GOES_ON}
    return doses


@some
@given(plan=plans, printed=printings, options=papers)
def test_for_every_day_to_come_the_table_has_the_drops_of_the_plan(plan, printed, options, make_content):
    content = make_content(plan=plan, printed_on=printed, options=options)
    rows = [(_span(plain(row.dates), printed), row) for row in rows_of_days(content)]
    for on in (printed + timedelta(days=n) for n in range(60)):
        holding = [row for (start, end), row in rows if start <= on <= end]
        assert len(holding) == bool(_due(plan, on)), on
        for row in holding:
            assert _goes_in(content, row) == _due(plan, on), on


@some
@given(plan=plans, printed=printings, options=papers)
def test_the_rows_to_come_stand_in_order_of_dates_and_what_goes_on_is_last(
    plan, printed, options, make_content
):
    content = make_content(plan=plan, printed_on=printed, options=options)
    spans = [
        _span(plain(row.dates), printed) if isinstance(row, DaysLine) else (_day_of(plain(row.day)),) * 2
        for row in content.table.rows
    ]
    assert all(start >= printed for start, _ in spans), "nothing stands of a day that is over"
    endless = [end == date.max for _, end in spans]
    assert not any(endless[:-1])
    ending = [start for start, end in spans if end != date.max]
    assert ending == sorted(ending)
    assert [row.now for row in rows_of_days(content)] == [
        start == printed and bool(_due(plan, printed))
        for start, _ in (_span(plain(row.dates), printed) for row in rows_of_days(content))
    ]


@some
@given(plan=plans, printed=printings)
def test_every_visit_to_come_has_one_row_and_no_other_visit_has_one(plan, printed, make_content):
    content = make_content(plan=plan, printed_on=printed)
    coming = [t.date for t in plan.trips if t.status in ("proposed", "booked") and t.date >= printed]
    assert [_day_of(plain(row.day)) for row in rows_of_visits(content)] == sorted(coming)
    assert (content.next_visit is None) == (not coming)


@some
@given(plan=plans, printed=printings, options=papers)
def test_columns_are_the_times_of_the_rows_that_are_not_told_in_words(plan, printed, options, make_content):
    content = make_content(plan=plan, printed_on=printed, options=options)
    rows = rows_of_days(content)
    marked = {time for row in rows if not row.told for m in row.marks for time in _told_times(m.line)}
    assert times(content) == sorted(marked)
    assert len(times(content)) <= _MOST_COLUMNS[options.paper, options.size]
    for row in rows:
        rounds = {time for mark in row.marks for time in _told_times(mark.line)}
        assert row.told or len(rounds) <= MOST_ROUNDS
        assert row.told or [cell_times(content, m) for m in row.marks] == [
            _told_times(m.line) for m in row.marks
        ]


@some
@given(plan=plans, printed=printings)
def test_a_table_is_told_in_words_only_where_it_has_too_many_times(plan, printed, make_content):
    content = make_content(plan=plan, printed_on=printed)
    rows = rows_of_days(content)
    rounds = [{time for mark in row.marks for time in _told_times(mark.line)} for row in rows]
    few = [found for found in rounds if len(found) <= MOST_ROUNDS]
    if len(set().union(*few)) <= _MOST_COLUMNS["A4", "normal"]:
        assert [row.told for row in rows] == [len(found) > MOST_ROUNDS for found in rounds]


def _hourly(count: int) -> CarePlan:
    start = tuple(f"{hour:02d}:00" for hour in range(6, 6 + count))
    return plan_of([(3, {"left:steroid": start}), (4, {"left:steroid": ("06:00", "12:00", "20:00")})])


def test_a_row_of_ten_rounds_is_told_in_words_and_one_of_nine_has_columns(make_content):
    nine, ten = (rows_of_days(make_content(plan=_hourly(count))) for count in (9, 10))
    assert [row.told for row in nine] == [False, False]
    assert [row.told for row in ten] == [True, False]
    assert [mark.line for mark in ten[0].marks] == ["every hour from 06:00 to 15:00"]
    assert times(make_content(plan=_hourly(10))) == ["06:00", "12:00", "20:00"]


@pytest.mark.parametrize(
    ("options", "columns"),
    [
        (SheetOptions(), 8),
        (SheetOptions(paper="A5"), 6),
        (SheetOptions(size="large"), 6),
        (SheetOptions(paper="A5", size="large"), 2),
    ],
)
def test_where_the_paper_has_no_room_the_row_with_most_rounds_gives_way(options, columns, make_content):
    """Eight rounds, then six, then two: never the fewest."""
    counts = {n: tuple(f"{hour:02d}:00" for hour in range(6, 6 + n)) for n in (8, 6, 2)}
    content = make_content(plan=plan_of([(3, {"left:steroid": counts[n]}) for n in counts]), options=options)
    assert len(content.table.columns) == columns
    assert [row.told for row in rows_of_days(content)] == [n > columns for n in counts]


@some
@given(old=plans, new=plans, printed=printings)
def test_exactly_the_rows_with_a_day_that_was_not_so_before_are_new(old, new, printed, make_content):
    content = make_content(plan=new, previous=old, printed_on=printed)
    for row in rows_of_days(content):
        start, end = _span(plain(row.dates), printed)
        length = (end - start).days if end != date.max else 0  # what goes on is the same on every day
        days = [start + timedelta(days=n) for n in range(length + 1)]
        assert row.new == any(_due(old, on) != _due(new, on) for on in days), row.dates
    before = {t.date for t in old.trips if t.status in ("proposed", "booked")}
    assert [v.new for v in rows_of_visits(content)] == [
        _day_of(plain(v.day)) not in before for v in rows_of_visits(content)
    ]
    assert (content.table.new is not None) == any(row.new for row in content.table.rows)


@some
@given(plan=plans, printed=printings)
def test_the_same_plan_printed_again_has_nothing_new_and_neither_has_a_first_sheet(
    plan, printed, make_content
):
    for previous in (plan, None):
        content = make_content(plan=plan, previous=previous, printed_on=printed)
        assert not [row for row in content.table.rows if row.new]
        assert content.table.new is None
        assert content.changes == ()


def test_a_visit_at_another_hour_is_new(make_content):
    def at(hour: str | None) -> CarePlan:
        return routine_plan(approved=True, trips=(trip(1, 7, "left:wound", hour=hour),))

    said = {}
    for hour in ("10:30", "11:00"):
        (row,) = rows_of_visits(make_content(plan=at(hour), previous=at("10:30")))
        said[plain(row.day)] = row.new
    assert said == {"Mon 8 June, at 10:30": False, "Mon 8 June, at 11:00": True}


@some
@given(plan=plans, printed=printings)
def test_each_day_to_tick_has_the_row_of_the_table_that_holds_it(plan, printed, make_content):
    content = make_content(plan=plan, printed_on=printed, options=SheetOptions(calendar=True))
    for told in content.calendar.days if content.calendar else ():
        on = _day_of(plain(told.day))
        assert on >= printed
        visited = any(t.date == on and t.status in ("proposed", "booked") for t in plan.trips)
        assert (told.visit is not None) == visited
        if told.row is None:
            assert (_due(plan, on), visited) == ({}, True)
        else:
            row = content.table.rows[told.row]
            start, end = _span(plain(row.dates), printed)
            assert start <= on <= end
            assert _goes_in(content, row) == _due(plan, on)


# ---- by mouth -----------------------------------------------------------------------------------


def _tablets(*tablets: float) -> CarePlan:
    """So many tablets of 5 mg each morning, a week each, beside the usual drops."""
    start, steps = 1, []
    for number in tablets:
        steps.append(Step(start=day(start), days=7, count=1, mg=number * 5, tablets=number))
        start += 7
    mouth = course("mouth:prednisolone", "steroid tablet", "prednisolone-5").model_copy(
        update={"steps": tuple(steps), "ordered_by": "Dr Example"}
    )
    plan = routine_plan(approved=True)
    morning = Dose(course="mouth:prednisolone", count=1, times=("06:00",))
    rounds = tuple(
        p.model_copy(update={"doses": (*p.doses, morning)}) if at < len(tablets) else p
        for at, p in enumerate(plan.rounds)
    )
    return plan.model_copy(update={"courses": (*plan.courses, mouth), "rounds": rounds})


def _taken(content: SheetContent) -> list[RowMark]:
    return [m for row in rows_of_days(content) for m in row.marks if m.bottle.kind == "tablet"]


def test_tablets_are_said_in_words_where_there_are_not_as_many_as_before_and_always_in_a_figure(
    make_content,
):
    taken = _taken(make_content(plan=_tablets(4, 4, 1.5, 0.5)))
    assert [(m.amount, m.figure) for m in taken] == [
        ("4 tablets (20 mg)", "4"),
        (None, "4"),
        ("tablets: 1½ (7.5 mg)", "1½"),
        ("half a tablet (2.5 mg)", "½"),
    ]


def test_whoever_hears_a_mark_of_tablets_hears_how_many_each_time(make_content):
    taken = _taken(make_content(plan=_tablets(4, 4, 0.5)))
    assert [m.bottle.due for m in taken] == [
        "Prednisolone: 4 tablets (20 mg)",
        "Prednisolone: 4 tablets (20 mg)",
        "Prednisolone: half a tablet (2.5 mg)",
    ]
    assert [m.line for m in taken] == [
        "4 tablets (20 mg): 06:00",
        "4 tablets (20 mg): 06:00",
        "half a tablet (2.5 mg): 06:00",
    ]


@pytest.mark.parametrize("tablets", [0.5, 1, 2, 4, 7.5])
def test_a_tablets_strength_never_stands_where_its_dose_belongs(tablets, make_content):
    content = make_content(plan=_tablets(tablets))
    (mark,) = _taken(content)
    strength, dose = "5 mg", f"{tablets * 5:g} mg"
    for text in (mark.amount, mark.bottle.due, mark.line):
        assert re.findall(r"[\d.]+ mg", text) == [dose]
    assert mark.bottle.name == f"Prednisolone, tablets of {strength}", "the legend's name says what one holds"
    assert mark.figure is not None
    assert "mg" not in mark.figure


def test_a_drop_has_no_amount(make_content):
    marks = [m for row in rows_of_days(make_content()) for m in row.marks]
    assert {(m.amount, m.figure) for m in marks} == {(None, None)}


# ---- visits ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("first", [True, False])
def test_nobody_misses_among_other_reasons_that_he_must_not_drive(first, make_content, make_plan):
    plan = make_plan(approved=True)
    look = plan.needs[1].model_copy(update={"key": "left:retina", "kind": "retina"})
    serves = ("left:retina", "left:wound") if first else ("left:wound", "left:retina")
    seen = plan.trips[1].model_copy(update={"serves": serves})
    content = make_content(
        plan=plan.model_copy(update={"needs": (*plan.needs, look), "trips": (seen,)}), printed_on=day(2)
    )
    (row,) = rows_of_visits(content)
    assert row.reason == "Back of the eye. Do not drive that day."
    assert content.next_visit.reasons == (row.reason, "Wound, swelling and eye pressure")


def test_a_visit_of_the_day_a_step_begins_stands_under_the_step(make_content):
    plan = plan_of(
        [(7, {"left:steroid": ("06:00", "18:00")}), (7, {"left:steroid": ("06:00",)})], [(8, "booked")]
    )
    kinds = [type(row) for row in make_content(plan=plan).table.rows]
    assert kinds == [DaysLine, DaysLine, VisitLine]


def test_a_sheet_without_drops_says_so_and_still_has_its_visits(make_content):
    content = make_content(plan=plan_of([], [(7, "booked")]))
    assert content.table.none == "No drops at fixed times."
    assert (content.table.columns, content.table.rules) == ((), ())
    assert [plain(v.day) for v in rows_of_visits(content)] == ["Mon 8 June"]


def test_what_goes_on_has_its_row_without_an_end_before_and_after_the_plan_stops(make_content):
    plan = plan_of([(7, {"left:steroid": ("06:00", "18:00"), GOES_ON: ("06:00", "18:00")})])
    assert dates(make_content(plan=plan)) == ["Tue 2 – Mon 8 June", "From Tue 9 June on"]
    assert dates(make_content(plan=plan, printed_on=day(30))) == ["Every day"]


def test_a_time_after_midnight_is_the_last_column_and_said_so_in_words(make_content):
    late = phase(1, 7, steroid="06:00 18:00 01:00")
    late = late.model_copy(update={"times": ("06:00", "18:00", "01:00")})
    steroid = course("left:steroid", "steroid", "prednisolone-acetate-1", (3, 7))
    content = make_content(plan=routine_plan(approved=True, courses=(steroid,), rounds=(late,), supply=()))
    assert times(content) == ["06:00", "18:00", "01:00"]
    assert content.table.rules == ("01:00 (after midnight)",)
