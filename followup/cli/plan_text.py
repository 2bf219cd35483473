"""The whole care plan in readable English, for a terminal or a printer. Same plan, same bytes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from followup.cli.contract import visible
from followup.cli.words import DayNumbers, long_day, medicine_words, short_day
from followup.clinical.careplan import (
    CarePlan,
    Caution,
    Decided,
    Impossible,
    Question,
    Reason,
    ReviewNeed,
    Trip,
)
from followup.clinical.english import counted, listed, sentence
from followup.clinical.plan.course_table import CourseRow, course_table
from followup.clinical.plan.keys_told import RISK, PlanNames, role_words, where
from followup.clinical.plan.tablets import dose_words, number_of_tablets, number_of_units
from followup.clinical.protocol.formulary import Medicine, label_of
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.record import Record
from followup.clinical.record.ages import years_old
from followup.clinical.statuses import TO_COME, TRIP_WORDS
from followup.clinical.words.why_reasons import origin_words, reason_words
from followup.typed import one_line

WIDTH = 100
NOT_APPROVED = "not approved for patients"


def render_plan(plan: CarePlan, record: Record, protocol: Protocol) -> str:
    """Every line of the plan: what must be asked first, then courses, day, bottles and visits.

    For people who know the trade and not the program: no ids, no keys and no fields of the record; JSON
    and ``--why`` have them.
    """
    days, names, formulary = DayNumbers(record), PlanNames(plan, protocol), protocol.formulary
    parts = [
        _header(plan, record, days),
        _section("By hand: this protocol makes no plan", _cautions(plan.refused)),
        _section("Allergies", _allergies(plan, formulary)),
        _section("Told in words, not used for the plan", _in_words(plan)),
        _section("Questions for the surgeon", _questions(plan, names)),
        _section("Cautions", _cautions(plan.cautions)),
        _section("No day fits", (_impossible(i, names) for i in plan.impossible)),
        _section("Decided and signed with the plan", (_decided(line, names) for line in plan.decided)),
        _section("First drop day", _first_days(plan, days)),
        _section("Courses", _courses(plan, days, names, formulary)),
        _section("Drop times", _rounds(plan, days, formulary)),
        _section("Bottles and tablets", _bottles(plan, days, formulary)),
        _section("Before the patient leaves", _before_leaving(plan)),
        _section("What must be looked at", _needs(plan, days, protocol)),
        _section("Never longer without a check", _gaps(plan, names)),
        _section("Visits", (line for trip in plan.trips for line in _trip(trip, plan, days, names))),
        _section("What gave way", _overridden(plan, names)),
        _section("Notes", plan.notices),
    ]
    return visible("\n\n".join(part for part in parts if part))


def _header(plan: CarePlan, record: Record, days: DayNumbers) -> str:
    patient = record.patient
    operated = listed(f"{eye} eye on {long_day(day)}" for eye, day in days.operated.items())
    approval = "signed for this clinic" if plan.approved else NOT_APPROVED
    lines = [
        f"{one_line(patient.name)}, {_age(record, plan.as_of)}, code {patient.code}",
        f"Operated: {operated}.",
        f"Protocol: {plan.protocol}, {approval}.",
        f"Plan as of {long_day(plan.as_of)}: {_standing(plan)}",
    ]
    if plan.tiers:
        risks = listed(f"{eye} eye {RISK[tier]}" for eye, tier in plan.tiers.items())
        lines.append(f"Pressure risk: {risks}.")
    return "\n".join(lines)


_REACTIONS = {
    "severe": "severe reaction",
    "other": "another reaction",
    "not known": "reaction not known",
}


def _allergies(plan: CarePlan, formulary: Mapping[str, Medicine]) -> Iterator[str]:
    """Every allergy as it is recorded; that none is written down is said, and is no "none"."""
    if not plan.allergies:
        yield "No allergy is written down."
    for line in plan.allergies:
        if line.words is not None:
            yield f"In words: {one_line(line.words)}"
            continue
        named = label_of(line.medicine, formulary) if line.medicine else line.described or line.to or ""
        yield f"{one_line(named)}: {_REACTIONS.get(line.reaction or 'not known', line.reaction)}"


def _in_words(plan: CarePlan) -> Iterator[str]:
    for line in plan.in_words:
        yield f"{line.eye} eye: {one_line(line.text)}" if line.eye else one_line(line.text)


def _age(record: Record, as_of: date) -> str:
    patient = record.patient
    if patient.birth_date:
        return counted(years_old(patient.birth_date, as_of), "year", "years")
    return f"born in {patient.birth_year}"


def _standing(plan: CarePlan) -> str:
    if plan.status == "on-hold":
        return "on hold, to be made by hand."
    blocking = sum(question.blocks for question in plan.questions)
    waiting = len(plan.questions) - blocking
    if plan.signable:
        asked = counted(waiting, "question", "questions")
        rest = f"can be signed; {asked} may wait" if waiting else "nothing open"
        return f"{plan.status}, {rest}."
    stops = len(plan.stops)
    open_points = [
        counted(blocking, "question", "questions") if blocking else "",
        counted(stops, "block", "blocks") if stops else "",
        counted(len(plan.impossible), "visit without a date", "visits without a date")
        if plan.impossible
        else "",
    ]
    rest = f"; {waiting} more may wait" if waiting else ""
    return (
        f"{plan.status}, can't be signed yet: {listed(point for point in open_points if point)} open{rest}."
    )


def _section(title: str, lines: Iterable[str]) -> str:
    found = list(lines)
    return "\n".join([title, *(_wrapped(line) for line in found)]) if found else ""


def _wrapped(line: str) -> str:
    """Fold at WIDTH; the leading spaces of a line are kept, its folds hang two further in."""
    own = len(line) - len(line.lstrip(" "))
    indent = " " * (2 + own)
    return textwrap.fill(
        line.strip(),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def _because(reasons: Sequence[Reason]) -> Iterator[str]:
    for reason in reasons:
        yield f"  {' '.join(reason_words(reason))}"


def _together(lines: Iterable[tuple[str, Sequence[Reason]]]) -> Iterator[str]:
    """Lines with their reasons; those of several lines in a row stand once, below the last of them."""
    found = list(lines)
    for i, (line, reasons) in enumerate(found):
        yield line
        if i + 1 == len(found) or found[i + 1][1] != reasons:
            yield from _because(reasons)


def _questions(plan: CarePlan, names: PlanNames) -> Iterator[str]:
    for number, question in enumerate(plan.questions, 1):
        yield f"{number}. {_where(question)}{question.text}"
        if question.choices:
            yield f"  answers: {listed(question.choices, 'or')}"
        if question.holds:
            yield f"  until then held: {names.courses(question.holds)}"
        if not question.blocks:
            yield "  the plan may be signed without the answer"
        yield from _because(question.reasons)


_LEVELS = {"stop": "Stop", "ask": "To decide", "warn": "Caution", "note": "Note"}


def _cautions(cautions: Sequence[Caution]) -> Iterator[str]:
    for caution in cautions:
        yield f"{_LEVELS[caution.level]}: {_where(caution)}{caution.text}"
        yield from _because(caution.reasons)


def _impossible(broken: Impossible, names: PlanNames) -> str:
    what = sentence(names.kept(broken.need)).rstrip(".")
    return f"{what}: {broken.text}{_nearest(broken.before, broken.after)}"


def _where(line: Question | Caution) -> str:
    return f"{line.eye} eye: " if line.eye else ""


def _nearest(before: date | None, after: date | None) -> str:
    offered = [f"before: {long_day(before)}" if before else "", f"after: {long_day(after)}" if after else ""]
    found = "; ".join(day for day in offered if day)
    return f" Nearest offered day {found}." if found else ""


def _decided(line: Decided, names: PlanNames) -> str:
    day = f"on {long_day(line.day)}" if line.day else "not in time, because no day is offered"
    place = f" at {one_line(line.place)}" if line.place else ""
    due = ""
    if line.earliest and line.latest:
        due = f" (due from {short_day(line.earliest)} to {short_day(line.latest)})"
    by = f" ({one_line(line.by)})" if line.by else ""
    what = sentence(names.kept(line.need)).rstrip(".")
    return f"{what}: {day}{place}{due}. Reason: {one_line(line.why)}{by}"


def _courses(
    plan: CarePlan, days: DayNumbers, names: PlanNames, formulary: Mapping[str, Medicine]
) -> Iterator[str]:
    for row in course_table(plan).courses:
        course = row.course
        state = {"active": "", "held": " - HELD, do not start", "stopped": " - not given"}
        marks = (", from before" if course.from_before else "") + (", as needed" if course.as_needed else "")
        named = medicine_words(course.medicine, formulary)
        yield f"{where(course.eye)}, {role_words(course.role)}: {named}{marks}{state[course.state]}"
        if course.held_by:
            yield f"  waits: {names.waits_for(course.held_by)}"
        if course.taper:
            yield f"  {names.taper(course.taper)}"
        yield from _steps(row, plan.as_of, days, formulary)
        if course.fixed_times:
            yield f"  at {listed(time.strftime('%H:%M') for time in course.fixed_times)}"
        if course.ordered_by:
            yield f"  as ordered by {one_line(course.ordered_by)}"
        if course.above_label:
            yield f"  {course.above_label}"
        yield from _because(course.reasons)


def _steps(row: CourseRow, as_of: date, days: DayNumbers, formulary: Mapping[str, Medicine]) -> Iterator[str]:
    course = row.course
    for line in row.steps:
        step = line.step
        amount = dose_words(step, formulary.get(course.medicine), line.times)
        if line.until is None:
            since = "" if step.start <= as_of else f" from {short_day(step.start)} on"
            yield f"  {amount}{since}, no last day is ordered"
            continue
        length = counted(step.days, "day", "days")
        yield f"  {amount} for {length}: {days.span(step.start, step.end, course.eye)}"
    if course.last_day is not None and not row.goes_on:
        what = (
            counted(course.drops, "drop", "drops") if course.eye else counted(course.drops, "dose", "doses")
        )
        number = days.number(course.last_day, course.eye)
        yield f"  {what} in all, last day {long_day(course.last_day)} ({number})"


def _rounds(plan: CarePlan, days: DayNumbers, formulary: Mapping[str, Medicine]) -> Iterator[str]:
    # What goes on is told with its course: here each run of days ends where the plan does.
    for row in course_table(plan, going_on=()).days:
        assert row.end
        rounds = counted(len(row.times), "round", "rounds")
        yield f"{days.span(row.start, row.end)}: {rounds} a day, {listed(row.times)}"
        for mark in row.marks:
            name = medicine_words(mark.course.medicine, formulary)
            each = f" {number_of_tablets(mark.tablets)} each time" if mark.tablets is not None else ""
            yield f"  {listed(mark.times)}: {name}, {where(mark.course.eye)}{each}"


def _bottles(plan: CarePlan, days: DayNumbers, formulary: Mapping[str, Medicine]) -> Iterator[str]:
    courses = {course.key: course for course in plan.courses}
    for bottle in plan.supply:
        course = courses.get(bottle.course)
        eye = course.eye if course else None
        name = medicine_words(course.medicine, formulary) if course else bottle.course
        trip = f" at visit {bottle.handed_over_trip}" if bottle.handed_over_trip is not None else ""
        if bottle.units is not None:
            medicine = formulary.get(course.medicine) if course else None
            yield (
                f"{where(eye)}, {name}: {number_of_units(bottle.units, medicine)} "
                f"for {days.span(bottle.opened, bottle.discard, eye)}, "
                f"handed over {short_day(bottle.handed_over)}{trip}"
            )
            continue
        yield (
            f"{where(eye)}, {name}, bottle {bottle.number}: "
            f"opened {short_day(bottle.opened)} ({days.number(bottle.opened, eye)}), "
            f"{counted(bottle.drops, 'drop', 'drops')}, "
            f"thrown away on the evening of {short_day(bottle.discard)}, "
            f"handed over {short_day(bottle.handed_over)}{trip}"
        )


def _before_leaving(plan: CarePlan) -> Iterator[str]:
    for check in plan.before_leaving:
        hours = f" (between {check.earliest} and {check.latest})" if check.earliest and check.latest else ""
        yield f"{check.eye} eye: {check.text}{hours}"
        yield from _because(check.reasons)


def _needs(plan: CarePlan, days: DayNumbers, protocol: Protocol) -> Iterator[str]:
    yield from _together((_need(need, days, protocol), need.reasons) for need in plan.needs)


def _need(need: ReviewNeed, days: DayNumbers, protocol: Protocol) -> str:
    numbers = [days.number(d, need.eye).removeprefix("day ") for d in need.window]
    done = f"; seen on {short_day(need.served_on)}" if need.served_on else ""
    urgent = ", urgent" if need.urgent else ""
    first, target, last = (short_day(d) for d in need.window)
    what = f"{where(need.eye)}, {text_of(need.kind, protocol.kinds)}{urgent}"
    if need.earliest == need.latest:
        return f"{what}: day {numbers[0]}, {first}{done}"
    return (
        f"{what}: day {numbers[0]} to {numbers[2]}, best {numbers[1]}: {first} to {last}, best {target}{done}"
    )


def _trip(trip: Trip, plan: CarePlan, days: DayNumbers, names: PlanNames) -> Iterator[str]:
    fixed = ", can't be moved" if trip.cannot_move else ""
    over = f", beyond the places of {listed(trip.overbooked)}" if trip.overbooked else ""
    hours = f", {trip.hours[0]} to {trip.hours[1]}" if trip.hours else ""
    place = f", at {one_line(trip.place)}{hours}" if trip.place else ""
    over += ", on the day that was decided" if trip.decided else ""
    state = "" if trip.status == "proposed" else f", {TRIP_WORDS[trip.status]}"
    state += f"{place}{fixed}{over}"
    yield f"{trip.number}. {long_day(trip.date)} ({days.number(trip.date)}){state}"
    if trip.serves:
        yield f"  for {names.looks(trip.serves)}"
    elif trip.status in TO_COME:
        kinds = "; ".join(dict.fromkeys(names.watched(gap) for gap in plan.gaps))
        yield f"  so that not too long passes without: {kinds}" if kinds else "  booked"
    if trip.window_start == trip.window_end:
        yield "  on this day only"
    else:
        yield f"  any day from {short_day(trip.window_start)} to {short_day(trip.window_end)}"


def _first_days(plan: CarePlan, days: DayNumbers) -> Iterator[str]:
    for first in plan.first_drop_days:
        at = f" at {first.at}" if first.at else ""
        yield f"{first.eye} eye: {long_day(first.day)}{at} ({days.number(first.day, first.eye)})"
        yield from _because(first.reasons)


def _gaps(plan: CarePlan, names: PlanNames) -> Iterator[str]:
    yield from _together((f"{where(gap.eye)}: {names.limit(gap)}", gap.reasons) for gap in plan.gaps)


def _overridden(plan: CarePlan, names: PlanNames) -> Iterator[str]:
    for lost in plan.overridden:
        yield f"{names.gave_way(lost)} {origin_words(lost.reason)}"
