"""Drops and tablets from before the operation: they go on, by name, in the same rounds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta

from followup.clinical.careplan import Course, Question, Reason, Step
from followup.clinical.english import joined
from followup.clinical.plan.courses import named_apart
from followup.clinical.plan.rounds import fits_the_day
from followup.clinical.plan.tablets import dosed, tablets_a_time
from followup.clinical.plan.taken import classes_taken, must_be_named
from followup.clinical.plan.taper import cut_from
from followup.clinical.protocol.formulary import Medicine, label_of
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Eye, InUse, Record
from followup.clinical.record.history import eyes_of
from followup.errors import FollowupError
from followup.said import say
from followup.timing.waking import WakingHours
from followup.typed import typed

_GOES_ON = Reason(
    rule="goes-on",
    because=say("A medicine from before the operation goes on unless the surgeon stops it."),
    source="common practice, no source",
    mark="C",
)


_WAYS = {
    "eye": "given in the eye",
    "mouth": "taken by mouth",
    "injection": "put in by the surgeon, not in use from day to day",
}


@dataclass(frozen=True)
class FromBefore:
    courses: tuple[Course, ...]
    questions: tuple[Question, ...]
    notices: tuple[str, ...]


def courses_from_before(
    record: Record, protocol: Protocol, start: date, end: date, waking: WakingHours
) -> FromBefore:
    """One course an eye (or by mouth) for each medicine that goes on, from ``start`` to ``end``.

    ``end`` is the last day that the plan speaks of; the medicine itself goes on after it unless
    the record gives a last day. What can't be named or counted, or has no place in the waking day,
    is a question. Raises FollowupError where the formulary has no such medicine, or not by that way.
    """
    courses: list[Course] = []
    questions: list[Question] = []
    notices: list[str] = []
    for i, entry in enumerate(record.in_use):
        if not entry.continues:
            notices.append(_not_going_on(entry, protocol))
            continue
        if entry.medicine is None and not must_be_named(entry, protocol.cautions.names):
            notices += _other_medicine(entry, protocol)
            continue
        asked = _questions(entry, i, protocol, start)
        questions += asked
        if entry.medicine is None:
            continue
        made = [
            _course(entry, eye, protocol, start, end, tuple(q.id for q in asked))
            for eye in (eyes_of(entry) or (None,))
        ]
        if not all(fits_the_day(course, protocol, waking) for course in made):
            crowded = _crowded(entry, i, protocol)
            questions.append(crowded)
            made = [_held(course, crowded.id) for course in made]
        courses += made
    return FromBefore(named_apart(courses), tuple(questions), tuple(notices))


def _not_going_on(entry: InUse, protocol: Protocol) -> str:
    """Nobody reads that a medicine is stopped unless the record says who stopped it."""
    if entry.stopped_by is None:
        return say("{medicine} from before the operation does not go on.", medicine=_name(entry, protocol))
    return say(
        "{medicine} from before the operation is stopped, by {stopped_by}.",
        medicine=_name(entry, protocol),
        stopped_by=typed(entry.stopped_by),
    )


def _other_medicine(entry: InUse, protocol: Protocol) -> Iterator[str]:
    """Other tablets go on by name without a question; what their class means for the eye is said."""
    yield say("{medicine} goes on as before.", medicine=_name(entry, protocol))
    for one in classes_taken(entry, protocol.cautions.names):
        yield say("{medicine} is {about}.", medicine=_name(entry, protocol), about=one.about)


def _questions(entry: InUse, i: int, protocol: Protocol, start: date) -> list[Question]:
    field = f"in_use.{i}"
    asked = []
    if entry.medicine is None:
        text = say(
            'Which medicine is "{described}"? Name it, so that it can stand in the plan.',
            described=typed(entry.described),
        )
        # A drop that the formulary does not know can't be named: then somebody says that it does not go on.
        ways = (f"{field}.medicine", f"{field}.continues", f"{field}.stopped_by")
        asked.append(_question(f"name-{i}", text, ways))
    elif entry.medicine not in protocol.formulary:
        raise FollowupError(
            "record.medicine",
            say('no medicine "{medicine}" in the formulary', medicine=entry.medicine),
            where=say("record: {field}.medicine", field=field),
            fix=say("use a formulary id, or leave it out and write what it is in described"),
        )
    elif protocol.formulary[entry.medicine].route != entry.route:
        raise FollowupError(
            "record.route",
            say(
                "{medicine} is {route}",
                medicine=entry.medicine,
                route=_WAYS[protocol.formulary[entry.medicine].route],
            ),
            where=say("record: {field}.route", field=field),
            fix=say("correct the route, or the medicine"),
        )
    # Steroid tablets told in mg a day are taken once, in the morning, unless somebody ordered otherwise.
    once = _is_steroid_tablet(entry, protocol) and (entry.mg is not None or bool(entry.mg_steps))
    if not (entry.count_a_day or entry.times or once) and entry.medicine is not None:
        text = say("How many times a day is {medicine} given?", medicine=_name(entry, protocol))
        asked.append(_question(f"count-{i}", text, (f"{field}.count_a_day",)))
    if _is_steroid_tablet(entry, protocol) and entry.ordered_by is None:
        text = say("Who tapers the {medicine} by mouth?", medicine=_name(entry, protocol))
        asked.append(_question(f"ordered-by-{i}", text, (f"{field}.ordered_by",)))
    if entry.paused_on is not None and entry.resumes_on is None:
        text = say("{medicine} is paused: on which day does it start again?", medicine=_name(entry, protocol))
        asked.append(_question(f"resumes-{i}", text, (f"{field}.resumes_on", f"{field}.continues")))
    untold = entry.mg is None and not any(step.starts <= start for step in entry.mg_steps)
    medicine = protocol.formulary.get(entry.medicine or "")
    if entry.route == "mouth" and medicine is not None:
        asked += _dose_questions(entry, i, medicine, untold=untold)
    return asked


def _dose_questions(entry: InUse, i: int, medicine: Medicine, *, untold: bool) -> Iterator[Question]:
    """What is taken by mouth needs its mg a day, in whole or half tablets; a strength is no dose."""
    fields = (f"in_use.{i}.mg", f"in_use.{i}.mg_steps")
    if untold:
        steps = say(", and in which steps") if medicine.role == "steroid tablet" else ""
        yield _question(
            f"mg-{i}", say("How many mg of {label} a day{steps}?", label=medicine.label, steps=steps), fields
        )
    count = entry.count_a_day or len(entry.times) or 1
    told = [mg for mg in (entry.mg, *(step.mg for step in entry.mg_steps)) if mg]
    wrong = next((mg for mg in told if tablets_a_time(mg, count, medicine) is None), None)
    if wrong is not None:
        least = say("whole or half tablets") if medicine.form == "tablet" else say("whole capsules")
        times = joined(("", say("in {count} doses", count=count))) if count > 1 else ""
        text = say(
            "{label}: {wrong} mg a day{times} can't be made of {least}. Which dose, or which strength?",
            label=medicine.label,
            wrong=format(wrong, "g"),
            times=times,
            least=least,
        )
        yield _question(f"dose-{i}", text, (*fields, f"in_use.{i}.count_a_day", f"in_use.{i}.medicine"))


def _crowded(entry: InUse, i: int, protocol: Protocol) -> Question:
    text = say(
        "{medicine} as often as that has no place in the waking day: how many times a day, at which "
        "times, and when does the patient rise and go to bed?",
        medicine=_name(entry, protocol),
    )
    fields = (f"in_use.{i}.count_a_day", f"in_use.{i}.times", "patient.waking")
    return _question(f"times-{i}", text, fields)


def _held(course: Course, by: str) -> Course:
    return course.model_copy(update={"state": "held", "held_by": (*course.held_by, by)})


def _question(id_: str, text: str, fields: tuple[str, ...]) -> Question:
    return Question(id=f"in-use-{id_}", text=text, eye=None, fields=fields, reasons=(_GOES_ON,))


def _is_steroid_tablet(entry: InUse, protocol: Protocol) -> bool:
    medicine = protocol.formulary.get(entry.medicine or "")
    return medicine is not None and medicine.role == "steroid tablet"


def _course(
    entry: InUse, eye: Eye | None, protocol: Protocol, start: date, end: date, asked: tuple[str, ...]
) -> Course:
    assert entry.medicine is not None
    medicine = protocol.formulary[entry.medicine]
    last = min(end, entry.until) if entry.until else end
    held = tuple(id_ for id_ in asked if "-count-" in id_)
    course = Course(
        key=f"{eye or 'mouth'}:{medicine.id}",
        role=medicine.role,
        medicine=medicine.id,
        eye=eye,
        state="held" if held else "active",
        held_by=held,
        steps=_without_pause(_steps(entry, start, last), entry),
        from_before=True,
        goes_on=entry.until is None or entry.until > last,
        ordered_by=entry.ordered_by,
        fixed_times=tuple(time.fromisoformat(clock) for clock in sorted(entry.times)),
        reasons=(_GOES_ON,),
    )
    return dosed(course, medicine)


def _steps(entry: InUse, start: date, last: date) -> tuple[Step, ...]:
    count = entry.count_a_day or len(entry.times) or 1
    if last < start:
        return ()
    if not entry.mg_steps:
        return (Step(start=start, days=(last - start).days + 1, count=count, mg=entry.mg),)
    changes = sorted(entry.mg_steps, key=lambda step: step.starts)
    points = [(max(start, step.starts), step.mg) for step in changes if step.starts <= last]
    if not points or points[0][0] > start:
        points.insert(0, (start, entry.mg or 0.0))
    steps = []
    for (day, mg), after in zip(
        points, [*(day for day, _ in points[1:]), last + timedelta(days=1)], strict=True
    ):
        if mg and after > day:
            steps.append(Step(start=day, days=(after - day).days, count=count, mg=mg))
    return tuple(steps)


def _without_pause(steps: Sequence[Step], entry: InUse) -> tuple[Step, ...]:
    """The steps but for the days of a pause; without an end it lasts until that is asked and answered."""
    if entry.paused_on is None:
        return tuple(steps)
    kept = list(cut_from(steps, entry.paused_on))
    for step in steps:
        begin = max(step.start, entry.resumes_on) if entry.resumes_on else None
        if begin is not None and begin <= step.end:
            kept.append(step.model_copy(update={"start": begin, "days": (step.end - begin).days + 1}))
    return tuple(kept)


def _name(entry: InUse, protocol: Protocol) -> str:
    return label_of(entry.medicine, protocol.formulary) if entry.medicine else f'"{typed(entry.described)}"'
