"""The whole care plan in readable English, for a terminal or a printer. Same plan, same bytes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from followup.care.plans.plan_table import PlanTable, plan_table
from followup.cli.contract import visible
from followup.cli.plan_rows import WIDTH, table_lines, visit_words
from followup.cli.words import DayNumbers, long_day, medicine_words, short_day
from followup.clinical.careplan import (
    CarePlan,
    Caution,
    Course,
    Decided,
    Impossible,
    Question,
    Reason,
    ReviewNeed,
)
from followup.clinical.english import counted, listed, sentence
from followup.clinical.plan.keys_told import RISK, PlanNames, role_words, where
from followup.clinical.plan.tablets import dose_words, number_of_units
from followup.clinical.protocol.formulary import Medicine, label_of
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.record import Record
from followup.clinical.record.ages import years_old
from followup.clinical.statuses import NOT_COMING
from followup.clinical.words.why_reasons import origin_words, reason_words
from followup.typed import one_line

NOT_APPROVED = "not approved for patients"


class _Why(str):
    """A line that says why the one above it is so."""


def render_plan(plan: CarePlan, record: Record, protocol: Protocol, *, reasons: bool = False) -> str:
    """On one screen who, the table with its letters, and what must be asked; then every other line.

    For people who know the trade and not the program: no ids, no keys and no fields of the record; JSON
    and ``--why`` have them. ``reasons``: each line with why it is so.
    """
    days, names, formulary = DayNumbers(record), PlanNames(plan, protocol), protocol.formulary
    table = plan_table(plan, formulary)
    told = {
        "By hand: this protocol makes no plan": _cautions(plan.refused),
        "Courses": _courses(table, days, names),
        "Questions for the surgeon": _questions(plan, names),
        "Allergies": _allergies(plan, formulary),
        "Told in words, not used for the plan": _in_words(plan),
        "Cautions": _cautions(plan.cautions),
        "No day fits": (_impossible(i, names) for i in plan.impossible),
        "Decided and signed with the plan": (_decided(line, names) for line in plan.decided),
        "First drop day": _first_days(plan, days),
        "Bottles and tablets": _bottles(plan, days, formulary),
        "Before the patient leaves": _before_leaving(plan),
        "What must be looked at": _needs(plan, days, protocol),
        "Never longer without a check": _gaps(plan, names),
        "Visits that are not kept": _not_kept(plan, days, names),
        "What gave way": _overridden(plan, names),
        "Notes": plan.notices,
    }
    sections = [_section(title, lines, reasons) for title, lines in told.items()]
    drawn = "\n".join(table_lines(table, days, names)) if table.rows else ""
    parts = [_header(plan, record, days), sections[0], drawn, *sections[1:]]
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


def _section(title: str, lines: Iterable[str], reasons: bool) -> str:
    found = [line for line in lines if reasons or not isinstance(line, _Why)]
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
        yield _Why(f"  {' '.join(reason_words(reason))}")


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


def _courses(table: PlanTable, days: DayNumbers, names: PlanNames) -> Iterator[str]:
    """The letters' meaning, with what no row of the table tells of a course."""
    for course in table.plan.courses:
        state = {"active": "", "held": " - HELD, do not start", "stopped": " - not given"}
        marks = (", from before" if course.from_before else "") + (", as needed" if course.as_needed else "")
        named = f"{role_words(course.role)}: {medicine_words(course.medicine, table.formulary)}"
        yield f"{table.letter(course)}  {where(course.eye)}, {named}{marks}{state[course.state]}"
        if course.held_by:
            yield f"  waits: {names.waits_for(course.held_by)}"
        yield from _steps(table, course, days)
        taper = f"{names.taper(course.taper)}: " if course.taper else ""
        if course.last_day is not None and not course.goes_on:
            one, many = ("drop", "drops") if course.eye else ("dose", "doses")
            number = days.number(course.last_day, course.eye)
            drops = counted(course.drops, one, many)
            yield f"  {taper}{drops} in all, last day {long_day(course.last_day)} ({number})"
        elif taper:
            yield f"  {taper.removesuffix(': ')}"
        if course.fixed_times:
            yield f"  at {listed(time.strftime('%H:%M') for time in course.fixed_times)}"
        if course.ordered_by:
            yield f"  as ordered by {one_line(course.ordered_by)}"
        if course.above_label:
            yield f"  {course.above_label}"
        yield from _because(course.reasons)


def _steps(table: PlanTable, course: Course, days: DayNumbers) -> Iterator[str]:
    """Those that no row tells; of what is taken by mouth each, for its strength and mg a day."""
    lines = table.untold(course) if course.eye else table.drawn.course(course.key).steps
    for line in lines:
        step = line.step
        amount = dose_words(step, table.formulary.get(course.medicine), line.times)
        if line.until is None:
            since = "" if step.start <= table.plan.as_of else f" from {short_day(step.start)} on"
            yield f"  {amount}{since}, no last day is ordered"
        else:
            length = counted(step.days, "day", "days")
            yield f"  {amount} for {length}: {days.span(step.start, step.end, course.eye)}"


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


def _not_kept(plan: CarePlan, days: DayNumbers, names: PlanNames) -> Iterator[str]:
    for trip in (trip for trip in plan.trips if trip.status in NOT_COMING):
        yield f"{long_day(trip.date)} ({days.number(trip.date)}), {visit_words(trip, plan, names)}"


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
