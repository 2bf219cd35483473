"""The plan in words: every line of it is there, in order, with dates and day numbers that agree."""

from __future__ import annotations

import inspect
from datetime import date, time, timedelta
from typing import Any

import pytest
from birthdays import AGES

from followup.care.plans import plan_table
from followup.cli import plan_rows, plan_text
from followup.cli.plan_rows import WIDTH
from followup.cli.plan_text import render_plan
from followup.clinical.careplan import (
    AllergyLine,
    BeforeLeaving,
    CarePlan,
    Caution,
    CheckGap,
    Course,
    Decided,
    FactUse,
    FirstDropDay,
    Impossible,
    Overridden,
    Question,
    Reason,
    ReviewNeed,
    Step,
    Trip,
)
from followup.clinical.day_plan import Bottle, DayPhase, Dose
from followup.clinical.plan import course_table
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record, parse_record

PROTOCOL = load_protocol()
OPERATED = date(2024, 2, 1)  # a Thursday; day 28 is 29 February (calendar arithmetic)


def day(number: int) -> date:
    return OPERATED + timedelta(days=number)


def record(*eyes: tuple[str, date], **patient: Any) -> Record:
    who = {"code": "T-1", "name": "Ada Brook", "birth_date": "1950-02-02", **patient}
    operated = eyes or (("left", OPERATED),)
    return parse_record(
        {
            "patient": who,
            "operations": [
                {"eye": eye, "eye_drawn": eye, "date": on.isoformat(), "procedure": "phacoemulsification"}
                for eye, on in operated
            ],
        }
    )


WHY = Reason(
    rule="steroid.routine",
    because="a quiet eye without an event needs the routine taper",
    source="J Sample 2018;44:429",
    mark="P",
    facts=(
        FactUse(fact="quiet", value="yes", fields=("patient.eyes.left.uveitis",), holds="the eye is quiet"),
    ),
    overrode=("steroid.short",),
)
STEROID = Course(
    key="left:steroid",
    role="steroid",
    medicine="dexamethasone-01",
    eye="left",
    steps=(Step(start=day(1), days=7, count=4), Step(start=day(8), days=21, count=1)),
    reasons=(WHY,),
)


def plan(**parts: Any) -> CarePlan:
    basis: dict[str, Any] = {
        "patient": "T-1",
        "as_of": OPERATED,
        "status": "draft",
        "protocol": "Sample protocol 1",
        "protocol_hash": "0" * 64,
        "approved": False,
        "engine": "0",
    }
    return CarePlan.model_validate({**basis, **parts})


def text(made: CarePlan, of: Record | None = None) -> str:
    """The plan's text with its reasons, its folded lines joined again."""
    return " ".join(render_plan(made, of or record(), PROTOCOL, reasons=True).split())


def test_the_header_says_who_which_eye_which_protocol_and_whether_it_can_be_signed() -> None:
    first = render_plan(plan(), record(), PROTOCOL).split("\n")[:4]
    assert first == [
        "Ada Brook, 73 years, code T-1",
        "Operated: left eye on Thursday 1 February 2024.",
        "Protocol: Sample protocol 1, not approved for patients.",
        "Plan as of Thursday 1 February 2024: draft, nothing open.",
    ]
    assert "not approved" not in text(plan(approved=True))


@pytest.mark.parametrize(("born", "on", "years"), AGES)
def test_the_age_changes_on_the_birthday(born: date, on: date, years: int) -> None:
    told = record(birth_date=born.isoformat())
    assert text(plan(as_of=on), told).startswith(f"Ada Brook, {years} years, code T-1")


def test_with_a_year_of_birth_alone_no_age_is_guessed() -> None:
    made = text(plan(), record(birth_date=None, birth_year=1950))
    assert "born in 1950" in made
    assert "years" not in made


def test_what_keeps_a_plan_from_being_signed_is_counted_in_the_header() -> None:
    question = Question(id="q", text="Is it so?", eye="left", fields=("a.b",), choices=("yes", "no"))
    stop = Caution(id="c", text="Not with asthma.", eye=None, level="stop")
    lost = Impossible(need="left:macula-1", text="closed", before=None, after=None)
    made = plan(questions=(question,), cautions=(stop,), impossible=(lost,))
    assert "can't be signed yet: 1 question, 1 block and 1 visit without a date open." in text(made)
    assert "1. left eye: Is it so? answers: yes or no" in text(made)


def test_the_letters_come_first_then_questions_then_cautions() -> None:
    made = plan(
        questions=(Question(id="q", text="Is it so?", eye=None, fields=()),),
        cautions=(Caution(id="c", text="Mind this.", eye=None, level="warn"),),
        courses=(STEROID,),
    )
    lines = render_plan(made, record(), PROTOCOL).split("\n")
    order = [lines.index(title) for title in ("Courses", "Questions for the surgeon", "Cautions")]
    assert order == sorted(order)


def test_a_course_is_counts_times_days_with_dates_and_day_numbers() -> None:
    made = text(plan(courses=(STEROID,)))
    assert "left eye, steroid: dexamethasone-01" in made
    assert "4 a day for 7 days: Fri 2 Feb 2024 to Thu 8 Feb 2024 (day 1 to day 7)" in made
    assert "1 a day for 21 days: Fri 9 Feb 2024 to Thu 29 Feb 2024 (day 8 to day 28)" in made
    assert "49 drops in all, last day Thursday 29 February 2024 (day 28)" in made


def test_every_reason_says_why_what_in_this_record_and_from_which_source_without_ids() -> None:
    made = text(plan(courses=(STEROID,)))
    said = "A quiet eye without an event needs the routine taper. In this record: the eye is quiet."
    assert f"{said} (J Sample 2018;44:429; published)" in made
    assert "steroid.routine" not in made
    assert "A quiet eye" not in render_plan(plan(courses=(STEROID,)), record(), PROTOCOL)


def test_a_held_course_says_so_and_names_what_holds_it() -> None:
    held = STEROID.model_copy(update={"state": "held", "held_by": ("herpes.active", "herpes.cover")})
    question = Question(id="herpes.active", text="Is it active today?", eye="left", fields=("a.b",))
    made = text(plan(courses=(held,), questions=(question,)))
    assert "HELD, do not start waits: Is it active today?" in made
    assert "herpes." not in made


def test_tablets_drops_from_before_and_orders_of_others_are_said() -> None:
    tablets = Course(
        key="mouth:prednisolone",
        role="steroid tablet",
        medicine="prednisolone",
        eye=None,
        steps=(Step(start=day(0), days=1, count=1, mg=20, tablets=4),),
        from_before=True,
        ordered_by="Dr Sample",
        fixed_times=(time(8),),
    )
    made = text(plan(courses=(tablets,)))
    assert "by mouth, steroid tablets: prednisolone, from before" in made
    assert "1 a day, 20 mg in all for 1 day: Thu 1 Feb 2024 (day 0)" in made
    assert "1 dose in all" in made
    assert "at 08:00" in made
    assert "as ordered by Dr Sample" in made


def test_rounds_bottles_visits_and_the_rest_have_their_lines() -> None:
    made = plan(
        courses=(STEROID,),
        rounds=(
            DayPhase(
                start=day(1),
                end=day(7),
                times=("06:00", "22:00"),
                doses=(Dose(course="left:steroid", count=2, times=("06:00", "22:00")),),
            ),
        ),
        supply=(
            Bottle(
                course="left:steroid", number=2, opened=day(20), discard=day(47), drops=40,
                handed_over=day(7), handed_over_trip=2,
            ),
        ),
        needs=(
            ReviewNeed(
                key="left:refraction", kind="refraction", eye="left", service="refraction", tier="C",
                earliest=day(29), target=day(35), latest=day(56),
            ),
        ),
        before_leaving=(
            BeforeLeaving(
                key="left:pressure", kind="pressure", eye="left", earliest="15:00", latest="19:00",
                text="measure the pressure",
            ),
        ),
        trips=(
            Trip(
                number=2, date=day(7), serves=("left:wound", "left:pressure"), services=("doctor",),
                window_start=day(5), window_end=day(9), tier="C",
            ),
        ),
        impossible=(Impossible(need="left:macula-1", text="no macula day.", before=day(27), after=day(43)),),
        overridden=(Overridden(rule="a", wanted="28 days", lost_to="b", reason=WHY),),
        notices=("The sheet is printed in English.",),
    )  # fmt: skip
    found = text(made)
    for line in (
        "day 06:00 22:00 Fri 2 Feb to Thu 8 Feb 1–7 ? ? o Thu 8 Feb 7 visit 2 + ?: wound",
        "bottle 2: opened Wed 21 Feb 2024 (day 20), 40 drops, "
        "thrown away on the evening of Tue 19 Mar 2024, handed over Thu 8 Feb 2024 at visit 2",
        "left eye, refraction for glasses: day 29 to 56, best 35: Fri 1 Mar 2024 to Thu 28 Mar 2024, "
        "best Thu 7 Mar 2024",
        "left eye: measure the pressure (between 15:00 and 19:00)",
        "wound, pressure and inflammation; a look of an earlier plan; any day from Tue 6 Feb to Sat 10 Feb",
        "Macula: no macula day. Nearest offered day before: Wednesday 28 February 2024; "
        "after: Friday 15 March 2024.",
        "28 days. A quiet eye without an event needs the routine taper. Set aside for: B.",
        "Notes The sheet is printed in English.",
    ):
        assert line in found


def test_a_visit_that_serves_no_need_says_which_check_it_keeps_from_being_late() -> None:
    gap = CheckGap(key="left:pressure-gap-4", eye="left", kind="pressure", limit=14, from_count=4)
    trip = Trip(
        number=3, date=day(14), serves=(), services=("pressure",), tier="B",
        window_start=day(10), window_end=day(14),
    )  # fmt: skip
    first = FirstDropDay(eye="left", day=day(1), reasons=(WHY,))
    made = text(plan(gaps=(gap,), trips=(trip,), first_drop_days=(first,)))
    assert (
        "left eye: Pressure check: no more than 14 days on 4 drops or more a day of steroid without one."
    ) in made
    assert "so that not too long passes without: pressure check" in made
    assert "First drop day left eye: Friday 2 February 2024 (day 1) A quiet eye" in made


def test_no_part_of_a_plan_is_left_out_of_the_text() -> None:
    """A part that is added to the type later must be printed, or named here as one that need not be."""
    silent = {"patient", "protocol_hash", "engine", "last_steroid_day"}
    printed_from = (plan_text, plan_rows, plan_table, course_table)
    source = "".join(map(inspect.getsource, printed_from))
    assert {name for name in CarePlan.model_fields if f"plan.{name}" not in source} <= silent


def _section(made: CarePlan, title: str) -> list[str]:
    """The lines under a title, folds joined, until the next title."""
    lines = render_plan(made, record(), PROTOCOL).split("\n")
    rest = lines[lines.index(title) + 1 :]
    end = next((i for i, line in enumerate(rest) if not line.startswith(" ")), len(rest))
    return [line.strip() for line in rest[:end]]


def test_every_allergy_is_said_with_its_reaction_and_none_written_down_is_not_none() -> None:
    lines = (
        AllergyLine(to="medicine", medicine="ciprofloxacin-0-3", reaction="severe"),
        AllergyLine(to="iodine", reaction="other"),
        AllergyLine(to="other", described="plaster", reaction="not known"),
        AllergyLine(to="latex"),
        AllergyLine(words="sulfa - blisters"),
    )
    assert _section(plan(allergies=lines), "Allergies") == [
        "Ciprofloxacin 0.3%: severe reaction",
        "iodine: another reaction",
        "plaster: reaction not known",
        "latex: reaction not known",
        "In words: sulfa - blisters",
    ]
    assert _section(plan(), "Allergies") == ["No allergy is written down."]


@pytest.mark.parametrize(
    ("level", "said"), [("stop", "Stop"), ("ask", "To decide"), ("warn", "Caution"), ("note", "Note")]
)
def test_a_caution_says_how_much_it_asks_and_of_which_eye(level: Any, said: str) -> None:
    for eye, where in (("right", "right eye: "), (None, "")):
        caution = Caution(id="c", text="Mind this.", eye=eye, level=level)
        assert _section(plan(cautions=(caution,)), "Cautions") == [f"{said}: {where}Mind this."]


VISIT = {
    "number": 1, "date": day(7), "serves": (), "services": ("doctor",), "window_start": day(5),
    "window_end": day(9), "tier": "C", "status": "booked",
}  # fmt: skip
ELSEWHERE = {"place": "Hill Street 4", "hours": ("09:00", "10:00")}
VISITS = [
    ({"status": "proposed"}, ""),
    ({"status": "booked"}, ", booked"),
    ({"status": "arrived"}, ", arrived"),
    ({"status": "fulfilled"}, ", seen"),
    ({"status": "noshow"}, ", did not come"),
    ({"status": "cancelled"}, ", cancelled"),
    ({"cannot_move": True}, ", booked, can't be moved"),
    ({"overbooked": ("doctor", "field")}, ", booked, beyond the places of doctor and field"),
    ({"decided": True}, ", booked, on the day that was decided"),
    ({"place": "Hill Street 4"}, ", booked, at Hill Street 4"),
    (ELSEWHERE, ", booked, at Hill Street 4, 09:00 to 10:00"),
]


@pytest.mark.parametrize(("more", "said"), VISITS)
def test_a_visit_says_how_it_stands_where_it_is_and_what_is_fixed(more: Any, said: str) -> None:
    made = text(plan(trips=(Trip.model_validate({**VISIT, **more}),)))
    kept = more.get("status") not in ("noshow", "cancelled")
    when = "o Thu 8 Feb 7" if kept else "Visits that are not kept Thursday 8 February 2024 (day 7),"
    assert f"{when} visit 1{said}: " in made
    assert ("not kept" in made) is not kept
    assert "any day from Tue 6 Feb to Sat 10 Feb" in made


def test_a_visit_of_one_day_alone_says_so() -> None:
    made = plan(trips=(Trip.model_validate({**VISIT, "window_start": day(7), "window_end": day(7)}),))
    assert "visit 1, booked: booked; on this day only" in text(made)


def test_a_visit_says_its_hour() -> None:
    made = plan(trips=(Trip.model_validate({**VISIT, "hour": "09:30"}),))
    assert "o Thu 8 Feb, 09:30 7 visit 1, booked:" in text(made)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "day 5 to 9, best 7: Tue 6 Feb 2024 to Sat 10 Feb 2024, best Thu 8 Feb 2024"),
        ({"earliest": day(9), "target": day(9)}, "day 9, Sat 10 Feb 2024"),
        (
            {"earliest": day(9), "target": day(9), "served_on": day(8)},
            "day 9, Sat 10 Feb 2024; seen on Fri 9 Feb 2024",
        ),
    ],
)
@pytest.mark.parametrize("urgent", [False, True])
def test_what_must_be_looked_at_says_its_days_and_whether_it_was_seen(
    more: Any, said: str, urgent: bool
) -> None:
    given = {
        "key": "left:refraction", "kind": "refraction", "eye": "left", "service": "refraction", "tier": "C",
        "earliest": day(5), "target": day(7), "latest": day(9), "urgent": urgent,
    }  # fmt: skip
    made = plan(needs=(ReviewNeed.model_validate({**given, **more}),))
    named = "left eye, refraction for glasses" + (", urgent" if urgent else "")
    assert " ".join(_section(made, "What must be looked at")) == f"{named}: {said}"


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"day": day(9)}, "on Saturday 10 February 2024. Reason: the clinic is closed (Dr Osei)"),
        (
            {"day": day(9), "place": "Hill Street 4"},
            "on Saturday 10 February 2024 at Hill Street 4. Reason: the clinic is closed (Dr Osei)",
        ),
        (
            {"day": None, "earliest": day(5), "latest": day(8), "by": None},
            "not in time, because no day is offered (due from Tue 6 Feb 2024 to Fri 9 Feb 2024). "
            "Reason: the clinic is closed",
        ),
    ],
)
def test_what_was_decided_says_the_day_or_that_it_is_not_in_time(more: Any, said: str) -> None:
    given = {
        "need": "left:macula-1", "kind": "macula-1", "eye": "left", "day": None, "earliest": None,
        "latest": None, "place": None, "why": "the clinic is closed", "by": "Dr Osei", **more,
    }  # fmt: skip
    (line,) = [" ".join(_section(plan(decided=(Decided(**given),)), "Decided and signed with the plan"))]
    assert line == f"Macula: {said}"


@pytest.mark.parametrize(
    ("start", "said"),
    [(0, "2 a day, no last day is ordered"), (1, "2 a day from Fri 2 Feb 2024 on, no last day is ordered")],
)
def test_a_course_that_goes_on_says_that_no_last_day_is_ordered(start: int, said: str) -> None:
    steps = (Step(start=day(start), days=30, count=2),)
    course = STEROID.model_copy(
        update={"steps": steps, "goes_on": True, "from_before": True, "as_needed": True, "reasons": ()}
    )
    assert _section(plan(courses=(course,)), "Courses") == [
        "?  left eye, steroid: dexamethasone-01, from before, as needed",
        said,
    ]


def test_with_both_eyes_operated_a_trip_gives_the_day_of_each_eye() -> None:
    both = record(("right", day(-10)), ("left", OPERATED))
    trip = Trip(
        number=1, date=day(1), serves=("left:first",), services=("doctor",),
        window_start=day(1), window_end=day(1), tier="C",
    )  # fmt: skip
    made = text(plan(trips=(trip,), courses=(STEROID,)), both)
    assert "day right / left" in made
    assert "o Fri 2 Feb 11 / 1 visit 1: " in made
    assert "(day 1 to day 7)" in made


def test_a_refused_record_says_why_and_no_more_than_there_is() -> None:
    child = Caution(id="child", text="Nine years old: plan by hand.", eye=None, level="stop", reasons=(WHY,))
    made = render_plan(plan(status="on-hold", refused=(child,)), record(), PROTOCOL)
    assert "on hold, to be made by hand." in made
    assert "Nine years old: plan by hand." in made
    assert "Courses" not in made


def test_a_name_can_not_forge_a_line_or_drive_the_terminal() -> None:
    made = render_plan(plan(), record(name="Ada\nProtocol: signed\x1b[2J"), PROTOCOL)
    assert made.split("\n")[0] == "Ada Protocol: signed\\x1b[2J, 73 years, code T-1"


def test_lines_are_folded_and_the_same_plan_is_the_same_text() -> None:
    made = plan(courses=(STEROID,), notices=("word " * 60,))
    lines = render_plan(made, record(), PROTOCOL)
    assert max(len(line) for line in lines.split("\n")) <= WIDTH
    assert lines == render_plan(made.model_copy(), record(), PROTOCOL)
