"""A care plan as a staircase going down: the one small drawing that every page and sheet shares.

Pure geometry. Days are offsets from ``Staircase.start``; every point is given as a share of the
width and of the height (0..1), so that the SVG macro and the Typst function only have to scale.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from math import sqrt
from typing import Literal, NamedTuple

from followup.clinical.careplan import CarePlan, Course, Trip
from followup.clinical.record import Eye
from followup.clinical.statuses import TripStatus

TickState = Literal["open", "part", "done", "missed"]
Point = tuple[float, float]

_DONE = {"arrived": "part", "fulfilled": "done", "noshow": "missed"}


class Visit(NamedTuple):
    """A visit as it is drawn; ``status`` as that of a :class:`Trip`."""

    date: date
    status: TripStatus


@dataclass(frozen=True)
class Tread:
    """One level of a stair: ``count`` a day, from day ``start`` on, ``days`` long; begins at ``x``, ``y``."""

    start: int
    days: int
    count: int
    x: float
    y: float


@dataclass(frozen=True)
class Stair:
    """One bottle. ``filled`` for a steroid; ``held`` while a question keeps it from starting.

    ``dash`` numbers the thin lines, so that two of them differ without colour. ``goes_on``: used
    before the first day drawn and after the last, so its line neither rises nor comes down.
    """

    key: str
    medicine: str
    filled: bool
    held: bool
    dash: int
    goes_on: bool
    treads: tuple[Tread, ...]
    points: tuple[Point, ...]

    def outline(self, left: float, head: float, width: float, height: float) -> str:
        """Its points in a box of this size, from ``left`` and ``head`` on, as SVG takes them."""
        scaled = ((left + x * width, head + y * height) for x, y in self.points)
        return "".join(f"{round(x, 1)},{round(y, 1)} " for x, y in scaled)


@dataclass(frozen=True)
class Tick:
    """A trip on the base line, in the middle of its day."""

    day: date
    state: TickState
    x: float


@dataclass(frozen=True)
class Staircase:
    """``today`` is the middle of today as a share of the width, None when outside the drawing."""

    start: date
    days: int
    top: int
    stairs: tuple[Stair, ...]
    ticks: tuple[Tick, ...]
    today: float | None
    mirrored: bool

    @property
    def end(self) -> date:
        return self.start + timedelta(days=self.days - 1)


def build_staircase(
    plan: CarePlan,
    *,
    today: date | None = None,
    eye: Eye | None = None,
    mirrored: bool = False,
    goes_on: Callable[[Course], bool] | None = None,
) -> Staircase | None:
    """The staircase of ``plan``, of one eye or (None) of all bottles; None without dates to draw.

    ``mirrored`` lets time run from right to left, for scripts that do. ``goes_on`` says which
    courses do not end with the plan; else those from before that reach as far as it does.
    """
    own = [course for course in plan.courses if eye in (None, course.eye)]
    return draw_staircase(own, plan.trips, today=today, mirrored=mirrored, goes_on=goes_on)


def draw_staircase(
    given: Iterable[Course],
    visits: Iterable[Trip | Visit],
    *,
    today: date | None = None,
    mirrored: bool = False,
    goes_on: Callable[[Course], bool] | None = None,
) -> Staircase | None:
    """The staircase of these courses above these visits, as :func:`build_staircase` says."""
    courses = [c for c in given if c.steps and c.state != "stopped"]
    trips = [t for t in visits if t.status != "cancelled"]
    endless = frozenset(c.key for c in courses if (goes_on or partial(_reaches_the_end, courses))(c))
    bounds = [c for c in courses if c.key not in endless] or courses
    days = [d for c in bounds for d in (c.steps[0].start, c.steps[-1].end)] + [t.date for t in trips]
    if not days:
        return None
    frame = _Frame(
        start=min(days),
        days=(max(days) - min(days)).days + 1,
        top=max((s.count for c in courses for s in c.steps), default=1) or 1,
        mirrored=mirrored,
        endless=endless,
    )
    return Staircase(
        start=frame.start,
        days=frame.days,
        top=frame.top,
        stairs=tuple(_stairs(courses, frame)),
        ticks=tuple(_tick(trip, frame) for trip in trips),
        today=frame.middle(today) if today and 0 <= (today - frame.start).days < frame.days else None,
        mirrored=mirrored,
    )


@dataclass(frozen=True)
class _Frame:
    start: date
    days: int
    top: int
    mirrored: bool
    endless: frozenset[str]

    @property
    def end(self) -> date:
        return self.start + timedelta(days=self.days - 1)

    def x(self, offset: float) -> float:
        share = offset / self.days
        return round(1 - share if self.mirrored else share, 5)

    def y(self, count: int) -> float:
        # The square root keeps one drop a day visible beside sixteen, and every step still goes down.
        return round(1 - sqrt(count / self.top), 5)

    def middle(self, day: date) -> float:
        return self.x((day - self.start).days + 0.5)


def _stairs(courses: Iterable[Course], frame: _Frame) -> Iterable[Stair]:
    dash = 0
    for given in sorted(courses, key=lambda c: c.role != "steroid"):
        goes_on = given.key in frame.endless
        course = _from_edge_to_edge(given, frame) if goes_on else given
        filled = course.role == "steroid"
        yield Stair(
            key=course.key,
            medicine=course.medicine,
            filled=filled,
            held=course.state == "held",
            dash=0 if filled else dash,
            goes_on=goes_on,
            treads=_treads(course, frame),
            points=_points(course, frame, floor=filled or not goes_on),
        )
        dash += not filled


def _treads(course: Course, frame: _Frame) -> tuple[Tread, ...]:
    found = []
    for step in course.steps:
        start = (step.start - frame.start).days
        found.append(Tread(start, step.days, step.count, frame.x(start), frame.y(step.count)))
    return tuple(found)


def _reaches_the_end(courses: Sequence[Course], course: Course) -> bool:
    return course.from_before and course.steps[-1].end >= max(c.steps[-1].end for c in courses)


def _from_edge_to_edge(course: Course, frame: _Frame) -> Course:
    """``course`` from the first day drawn to the last."""
    steps = [s for s in course.steps if s.start <= frame.end and s.end >= frame.start] or course.steps[-1:]
    found = []
    for at, step in enumerate(steps):
        start = frame.start if at == 0 else step.start
        end = frame.end if at == len(steps) - 1 else step.end
        found.append(step.model_copy(update={"start": start, "days": (end - start).days + 1}))
    return course.model_copy(update={"steps": tuple(found)})


def _points(course: Course, frame: _Frame, *, floor: bool) -> tuple[Point, ...]:
    """The outline from the floor up, along the treads and down to the floor again.

    Without ``floor`` the line begins and ends in the air.
    """
    points: list[Point] = []
    at = None
    for step in course.steps:
        start = (step.start - frame.start).days
        if start != at:  # the first step, or a pause: begin on the floor
            points += [(frame.x(at), 1.0)] if at is not None else []
            points.append((frame.x(start), 1.0))
        points.append((frame.x(start), frame.y(step.count)))
        at = start + step.days
        points.append((frame.x(at), frame.y(step.count)))
    return (*points, (frame.x(at or 0), 1.0)) if floor else tuple(points[1:])


def _tick(trip: Trip | Visit, frame: _Frame) -> Tick:
    state: TickState = _DONE.get(trip.status, "open")  # type: ignore[assignment]
    return Tick(trip.date, state, frame.middle(trip.date))
