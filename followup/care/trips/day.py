"""A day's people, each once: whom to expect, who is here, who left, who was seen, who stayed away."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Literal

from followup.care.trips.trip_lines import TripLine

Group = Literal["here", "to come", "left", "missed", "seen"]
# In which group a person with several visits stands: where somebody must act, before where nobody must.
_ORDER: tuple[Group, ...] = ("here", "to come", "left", "missed", "seen")
# After every hour of the clock: whoever was given none comes at any.
_NO_HOUR = "99:99"


@dataclass(frozen=True)
class OnDay:
    """A person of the day. ``line`` says where the person stands, ``also`` the other visits of the list."""

    group: Group
    line: TripLine
    also: tuple[TripLine, ...] = ()

    @property
    def missed(self) -> int:
        """How many further visits of the person were missed."""
        return sum(one.open for one in self.also)


@dataclass(frozen=True)
class DayGroups:
    """The people of a day by what is to do with them, each of them once."""

    to_come: tuple[OnDay, ...]
    here: tuple[OnDay, ...]
    left: tuple[OnDay, ...]
    missed: tuple[OnDay, ...]
    seen: tuple[OnDay, ...]

    @property
    def anybody(self) -> bool:
        """Whether anybody stands on the day at all."""
        return any((self.to_come, self.here, self.left, self.missed, self.seen))


def day_groups(lines: Iterable[TripLine], today: date, elsewhere: Container[int] = ()) -> DayGroups:
    """The people of ``lines``: those to come by hour, those here by arrival, those missed longest first.

    ``elsewhere``: the ids of patients who stand on the page already.
    """
    people: dict[int, list[tuple[Group, TripLine]]] = {}
    for line in lines:
        if line.who.id not in elsewhere and line.trip.status != "cancelled":
            people.setdefault(line.who.id, []).append((_group(line, today), line))
    found = [_once(placed) for placed in people.values()]

    def those(group: Group) -> tuple[OnDay, ...]:
        return tuple(sorted((one for one in found if one.group == group), key=_place))

    return DayGroups(*(those(group) for group in ("to come", "here", "left", "missed", "seen")))


def _group(line: TripLine, today: date) -> Group:
    if line.stands == "here":
        return "here"
    if line.stands == "left":
        return "left"
    if not line.open:
        return "seen"
    return "missed" if line.trip.status == "noshow" or line.trip.day < today else "to come"


def _once(placed: list[tuple[Group, TripLine]]) -> OnDay:
    (group, line), *others = sorted(placed, key=lambda one: (_ORDER.index(one[0]), one[1].trip.window_end))
    return OnDay(group, line, tuple(other for _, other in others))


def _place(one: OnDay) -> tuple[str, str]:
    trip, name = one.line.trip, one.line.who.name.casefold()
    if one.group == "here" and trip.arrived_at:
        return trip.arrived_at.isoformat(), name
    if one.group == "to come":
        return trip.hour or _NO_HOUR, name
    return (trip.window_end.isoformat() if one.group == "missed" else ""), name
