"""Why a line of a plan is as it is: the chain from the record's field to the result, in words.

Every course, bottle, visit, need, caution and question of a plan can be asked about by its key.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import chain

from followup.clinical.careplan import CarePlan, Caution, Course, Question, ReviewNeed
from followup.clinical.day_plan import Bottle
from followup.clinical.english import capital, counted, day_words, joined, listed, sentence, steps_words
from followup.clinical.plan.course_table import course_table
from followup.clinical.plan.keys_told import PlanNames
from followup.clinical.plan.tablets import dose_words, number_of_units
from followup.clinical.protocol.formulary import label_of
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.words.why_reasons import tell
from followup.clinical.words.why_trips import tell_gap, tell_trip
from followup.errors import FollowupError
from followup.said import say
from followup.typed import typed


def why(plan: CarePlan, protocol: Protocol, target: str, *, traced: bool = True) -> tuple[str, ...]:
    """The reasons of one line of the plan, first what it says, then where that comes from.

    ``traced`` follows each reason to its rule, the fields of the record and what would change it;
    without it the reasons are told as a page tells them, with no ids.

    ``target`` is a course (``left:steroid``), one of its bottles (``left:steroid#2``), the number of
    a visit (``3``), the key of a need or gap, or the id of a question or caution; of several lines
    with one name all are told. Raises FollowupError ``why.unknown`` with the names that there are.
    """
    asked = target.strip().lower().removeprefix("trip ").strip()
    told = [
        line for name, lines in _lines(plan, protocol, traced) if name.lower() == asked for line in lines()
    ]
    if not told:
        raise FollowupError(
            "why.unknown",
            say('the plan has no line "{target}"', target=target[:60]),
            where=say("why"),
            fix=say("name one of: {names}", names=", ".join(explainable(plan, protocol))),
        )
    return tuple(told)


def explainable(plan: CarePlan, protocol: Protocol) -> tuple[str, ...]:
    """Every name that :func:`why` knows in this plan."""
    return tuple(dict.fromkeys(name for name, _ in _lines(plan, protocol, traced=True)))


Lines = Callable[[], Iterator[str]]


def _lines(plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[tuple[str, Lines]]:
    for course in plan.courses:
        yield course.key, lambda c=course: _course(c, plan, protocol, traced)  # type: ignore[misc]
    for bottle in plan.supply:
        yield f"{bottle.course}#{bottle.number}", lambda b=bottle: _bottle(b, plan, protocol, traced)  # type: ignore[misc]
    for trip in plan.trips:
        yield str(trip.number), lambda t=trip: tell_trip(t, plan, protocol, traced)  # type: ignore[misc]
    for need in plan.needs:
        yield need.key, lambda n=need: _need(n, plan, protocol, traced)  # type: ignore[misc]
    for question in plan.questions:
        yield question.id, lambda q=question: _question(q, plan, protocol, traced)  # type: ignore[misc]
    for caution in chain(plan.refused, plan.cautions):
        yield caution.id, lambda c=caution: _caution(c, plan, protocol, traced)  # type: ignore[misc]
    for gap in plan.gaps:
        yield gap.key, lambda g=gap: tell_gap(g, plan, protocol, traced)  # type: ignore[misc]
    yield from _few(plan, protocol, traced)


def _few(plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[tuple[str, Lines]]:
    """What there is once an eye, or once a plan."""
    for first in plan.first_drop_days:
        text = say("The drops of the {eye} eye begin on {day}.", eye=first.eye, day=day_words(first.day))
        told = (text, *tell(first.reasons, plan, protocol, traced=traced))
        yield f"{first.eye}:first-drop-day", lambda t=told: iter(t)  # type: ignore[misc]
    for check in plan.before_leaving:
        told = (sentence(check.text), *tell(check.reasons, plan, protocol, traced=traced))
        yield check.key, lambda t=told: iter(t)  # type: ignore[misc]
    for lost in plan.overridden:
        told = (
            PlanNames(plan, protocol).gave_way(lost),
            *tell((lost.reason,), plan, protocol, traced=traced),
        )
        yield lost.rule, lambda t=told: iter(t)  # type: ignore[misc]


def _course(course: Course, plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[str]:
    name = label_of(course.medicine, protocol.formulary)
    where = say("{eye} eye", eye=course.eye) if course.eye else say("by mouth")
    if course.state == "stopped":
        yield say("{medicine}, {where}: not given.", medicine=name, where=where)
        yield from tell(course.reasons, plan, protocol, traced=traced)
        return
    by_mouth = (
        say(
            "{dose} from {start}",
            dose=dose_words(s.step, protocol.formulary.get(course.medicine), s.times),
            start=day_words(s.step.start),
        )
        for s in course_table(plan).course(course.key).steps
    )
    drops = steps_words((s.count, s.days) for s in course.steps) or say("no drops are planned")
    given = drops if course.eye else joined(by_mouth, "; ")
    yield say("{medicine}, {where}: {steps}.", medicine=name, where=where, steps=given)
    if course.goes_on:
        yield say("Nobody has ordered a last day: it goes on.")
    elif course.last_day:
        yield say("The last day is {last_day}.", last_day=day_words(course.last_day))
    if course.taper:
        yield say("It follows the {taper}.", taper=PlanNames(plan, protocol).taper(course.taper))
    yield from _held(course, plan, protocol, traced)
    if course.above_label:
        yield sentence(course.above_label)
    if course.ordered_by:
        yield say("It is as ordered by {ordered_by}.", ordered_by=typed(course.ordered_by))
    yield from tell(course.reasons, plan, protocol, traced=traced)


def _held(course: Course, plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[str]:
    if course.held_by:
        yield say("It is held: {held_by}", held_by=PlanNames(plan, protocol).waits_for(course.held_by))
    fields = [f for question in plan.questions if question.id in course.held_by for f in question.fields]
    if fields and traced:
        yield say("It is answered in {fields}.", fields=listed(dict.fromkeys(fields), "or"))


def _bottle(bottle: Bottle, plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[str]:
    course = plan.course(bottle.course)
    medicine = protocol.formulary[course.medicine]
    if bottle.units is not None:
        yield say(
            "{number} of {medicine} for {opened} to {discard}, handed over on {handed_over}.",
            number=capital(number_of_units(bottle.units, medicine)),
            medicine=medicine.label,
            opened=day_words(bottle.opened),
            discard=day_words(bottle.discard),
            handed_over=day_words(bottle.handed_over),
        )
        yield say(
            "They last until the visit after the next may be, so that a missed visit does not end them."
        )
        return
    yield say(
        "Bottle {number} of {label} is opened on {opened}, serves {drops} and is thrown away on "
        "the evening of {discard}.",
        number=bottle.number,
        label=medicine.label,
        opened=day_words(bottle.opened),
        drops=counted(bottle.drops, "drop", "drops"),
        discard=day_words(bottle.discard),
    )
    earlier = [b for b in plan.supply if b.course == bottle.course and b.number == bottle.number - 1]
    for before in earlier:
        if before.drops >= medicine.drops_per_bottle:
            yield say("The bottle before it has no drop left after {drops}.", drops=before.drops)
        else:
            yield say(
                "The bottle before it may not be used after {discard}.", discard=day_words(before.discard)
            )
    if not earlier:
        yield say("It is the first bottle of the course.")
    yield say(
        "A bottle holds {drops_per_bottle} and is used for at most {open_days} (formulary: {source}).",
        drops_per_bottle=counted(medicine.drops_per_bottle, "drop", "drops"),
        open_days=counted(medicine.open_days, "day", "days"),
        source=medicine.source,
    )
    over = day_words(bottle.handed_over)
    if bottle.handed_over_trip is None:
        yield say("It is handed over on {over}: no visit is sure to come before it is opened.", over=over)
    else:
        yield say(
            "It is handed over at visit {handed_over_trip} on {over}, the last visit while enough "
            "is left of the bottle before it. {because}",
            handed_over_trip=bottle.handed_over_trip,
            over=over,
            because=protocol.supply.because,
        )


def _need(need: ReviewNeed, plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[str]:
    text = text_of(need.kind, protocol.kinds)
    what = say("{side} eye, {look}", side=need.eye.capitalize(), look=text) if need.eye else text
    yield say(
        "{look}: from {earliest} to {latest}, best on {target}.",
        look=what,
        earliest=day_words(need.earliest),
        latest=day_words(need.latest),
        target=day_words(need.target),
    )
    if need.after in {other.key for other in plan.needs}:
        yield say(
            "Its days are also counted from the day of: {after}.",
            after=PlanNames(plan, protocol).look(str(need.after)),
        )
    if need.state == "served" and need.served_on:
        yield say("It was done on {served_on}.", served_on=day_words(need.served_on))
    for trip in plan.trips:
        if need.key in trip.serves and need.state == "open":
            yield say("Visit {number} on {date} is for it.", number=trip.number, date=day_words(trip.date))
    for broken in plan.impossible:
        if broken.need == need.key:
            yield sentence(broken.text)
    yield from tell(need.reasons, plan, protocol, traced=traced)


def _question(question: Question, plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[str]:
    yield sentence(question.text)
    if question.fields and traced:
        yield say("It is answered in {fields}.", fields=listed(question.fields, "or"))
    if question.choices:
        yield say("The answers are {choices}.", choices=listed(question.choices, "or"))
    if question.holds:
        yield say("Until then it holds {holds}.", holds=PlanNames(plan, protocol).courses(question.holds))
    yield (
        say("The plan can't be signed before.")
        if question.blocks
        else say("The plan may be signed without it.")
    )
    yield from tell(question.reasons, plan, protocol, traced=traced)


def _caution(caution: Caution, plan: CarePlan, protocol: Protocol, traced: bool) -> Iterator[str]:
    level = {
        "stop": say("It stops the plan until it is mended or answered."),
        "ask": say("It asks; the question stands with the plan."),
        "warn": say("It warns."),
        "note": say("It is a note; nothing waits for it."),
    }
    if caution.eye:
        yield say("It is about the {eye} eye.", eye=caution.eye)
    yield sentence(caution.text)
    yield level[caution.level]
    if caution.sheet:
        yield say("The patient reads it on the sheet.")
    yield from tell(caution.reasons, plan, protocol, traced=traced)
