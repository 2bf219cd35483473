"""Drops and tablets from before the operation: they go on, by name, in the same rounds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta

from followup.clinical.careplan import Course, Question, Reason, Step
from followup.clinical.protocol import Protocol
from followup.clinical.record import Eye, InUse, Record
from followup.errors import FollowupError

_GOES_ON = Reason(
    rule="goes-on",
    because="A medicine from before the operation goes on unless the surgeon stops it.",
    source="common practice, no source",
    mark="C",
)


@dataclass(frozen=True)
class FromBefore:
    courses: tuple[Course, ...]
    questions: tuple[Question, ...]
    notices: tuple[str, ...]


def courses_from_before(record: Record, protocol: Protocol, start: date, end: date) -> FromBefore:
    """One course an eye (or by mouth) for each medicine that goes on, from ``start`` to ``end``.

    ``end`` is the last day that the plan speaks of; the medicine itself goes on after it unless
    the record gives a last day. What can't be named or counted is a question.
    """
    courses: list[Course] = []
    questions: list[Question] = []
    notices: list[str] = []
    for i, entry in enumerate(record.in_use):
        if not entry.continues:
            notices.append(f"{_name(entry)} from before the operation is stopped.")
            continue
        asked = _questions(entry, i, protocol)
        questions += asked
        if entry.medicine is None:
            continue
        for eye in _eyes(entry):
            courses.append(_course(entry, eye, protocol, start, end, tuple(q.id for q in asked)))
    return FromBefore(_apart(courses), tuple(questions), tuple(notices))


def _eyes(entry: InUse) -> tuple[Eye | None, ...]:
    if entry.route == "mouth" or entry.eye is None:
        return (None,)
    return ("right", "left") if entry.eye == "both" else (entry.eye,)


def _questions(entry: InUse, i: int, protocol: Protocol) -> list[Question]:
    field = f"in_use.{i}"
    asked = []
    if entry.medicine is None:
        text = f'Which medicine is "{entry.described}"? Name it, so that it can stand in the plan.'
        asked.append(_question(f"name-{i}", text, (f"{field}.medicine",)))
    elif entry.medicine not in protocol.formulary:
        raise FollowupError(
            "record.medicine",
            f'no medicine "{entry.medicine}" in the formulary',
            where=f"record: {field}.medicine",
            fix="use a formulary id, or leave it out and write what it is in described",
        )
    if not (entry.count_a_day or entry.times) and entry.medicine is not None:
        text = f"How many times a day is {_name(entry)} given?"
        asked.append(_question(f"count-{i}", text, (f"{field}.count_a_day",)))
    if _is_steroid_tablet(entry, protocol) and entry.ordered_by is None:
        text = f"Who tapers the {_name(entry)} by mouth?"
        asked.append(_question(f"ordered-by-{i}", text, (f"{field}.ordered_by",), holds=False))
    return asked


def _question(id_: str, text: str, fields: tuple[str, ...], holds: bool = True) -> Question:
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
    return Course(
        key=f"{eye or 'mouth'}:{medicine.id}",
        role=medicine.role,
        medicine=medicine.id,
        eye=eye,
        state="held" if held else "active",
        held_by=held,
        steps=_steps(entry, start, last),
        from_before=True,
        ordered_by=entry.ordered_by,
        fixed_times=tuple(time.fromisoformat(clock) for clock in sorted(entry.times)),
        reasons=(_GOES_ON,),
    )


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


def _apart(courses: list[Course]) -> tuple[Course, ...]:
    """Give each course a key of its own where one medicine stands twice in the record."""
    seen: dict[str, int] = {}
    named = []
    for course in courses:
        seen[course.key] = seen.get(course.key, 0) + 1
        number = seen[course.key]
        named.append(course if number == 1 else course.model_copy(update={"key": f"{course.key}-{number}"}))
    return tuple(named)


def _name(entry: InUse) -> str:
    return entry.medicine or f'"{entry.described}"'
