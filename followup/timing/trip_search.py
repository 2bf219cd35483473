"""The exact search for the fewest trips: layer after layer, one trip more in each.

A state is (last trip day, floor, open needs, served days still referred to, what gave way). In a
layer only the best label of each state is kept: the future of two labels with one state is the
same, and every part of the cost adds up along the way. The first layer that holds a state with
nothing open holds the best plan. A lower bound on the trips still needed cuts states that cannot
lead to ``ceiling`` trips or fewer; it never cuts the best plan, the ceiling is raised until one
is found.

A trip that serves no need is only worth its while if the gap rules would not hold without it, so
the next trip must come after the day up to which they would: that day is the ``floor``.

When the needs cannot all be kept together, ``spare`` says how many needs or gap rules may give
way and ``harm`` how much that may hurt (a gap rule 0: it is then kept as nearly as offered days
allow; a need 1; an urgent need 2).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from followup.timing.trip_bound import LowerBound
from followup.timing.trip_tables import BEFORE, FAR, Tables, Window, bits, resolve

Refs = tuple[int, ...]
State = tuple[int, int, int, Refs, int, int, int]  # last, floor, open, refs, relaxed gap rules, spent, harm
Label = tuple[int, int, int, tuple[int, ...]]  # booked days given up, deviation, crowding, days


@dataclass(frozen=True)
class BestDays:
    """The best plan: its days, what it costs, and which gap rules gave way (indices)."""

    days: tuple[int, ...]
    given_up: int
    deviation: int
    crowding: int
    relaxed: tuple[int, ...]
    harm: int


class _Step(NamedTuple):
    """A next trip: the state after it, the needs it serves, all served days, the services used."""

    state: State
    got: int
    refs: Refs
    services: tuple[str, ...]


class Search:
    """One search over ``tables``; ``spare`` and ``harm`` bound what may give way."""

    def __init__(self, tables: Tables, spare: int = 0, harm: int = 0) -> None:
        self.t = tables
        self.spare = spare
        self.harm = harm
        self.everything = (1 << len(tables.items)) - 1
        self.position = {base: j for j, base in enumerate(tables.bases)}
        self.bases_of = [sum(1 << b for b in {b for b, _ in item.after}) for item in tables.items]
        self._windows: dict[tuple[int, Refs], Window] = {}
        self._services: dict[int, tuple[str, ...]] = {}
        self._deadlines: dict[tuple[int, Refs], int] = {}
        self._needed: dict[tuple[int, int, Refs, int, int], int] = {}
        self._strict = {
            last: [g.deadline(last) for g in tables.gaps] for last in (BEFORE, *tables.candidates)
        }
        self._loose = {last: [g.relaxed(last) for g in tables.gaps] for last in (BEFORE, *tables.candidates)}
        self._needless = {last: min(ends, default=FAR) for last, ends in self._strict.items()}
        self._bounds = LowerBound(tables, self._strict, self._loose)
        self._pruned = False

    def best(self) -> BestDays | None:
        """The best plan, or None when nothing can be kept together within spare and harm."""
        start: State = (BEFORE, BEFORE, self.everything, (BEFORE,) * len(self.t.bases), 0, 0, 0)
        ceiling, step = self._bound(start), 1
        while ceiling < FAR:
            self._pruned = False
            found = self._up_to(start, ceiling)
            if found is not None or not self._pruned:
                return found
            ceiling, step = ceiling + step, 2 * step
        return None

    def _up_to(self, start: State, ceiling: int) -> BestDays | None:
        layer: dict[State, Label] = {start: (0, 0, 0, ())}
        for left in range(ceiling, -1, -1):
            done = [end for state, label in layer.items() if (end := self._end(state, label)) is not None]
            if done:
                (given_up, deviation, crowding, days), flags, harm = min(done)
                relaxed = tuple(g for g in range(len(self.t.gaps)) if flags >> g & 1)
                return BestDays(days, given_up, deviation, crowding, relaxed, harm)
            if left:
                layer = self._next_layer(layer, left - 1)
        self._pruned = self._pruned or bool(layer)
        return None

    def _next_layer(self, layer: dict[State, Label], left: int) -> dict[State, Label]:
        following: dict[State, Label] = {}
        hopeless: set[State] = set()
        for state, label in layer.items():
            for step in self._steps(state):
                after = step.state
                if after not in following:
                    if after in hopeless:
                        continue
                    needed = self._bound(after)
                    if needed > left:
                        hopeless.add(after)
                        self._pruned = self._pruned or needed < FAR
                        continue
                grown = self._grown(label, state[0], step)
                if after not in following or grown < following[after]:
                    following[after] = grown
        return following

    def _end(self, state: State, label: Label) -> tuple[Label, int, int] | None:
        """The whole cost, the eased gap rules and the harm if no trip follows; None if one must."""
        last, _, open_, _, flags, spent, harm = state
        if self.t.fixed and self.t.fixed[-1] > last:
            return None
        spent += open_.bit_count()
        harm += self._harm(open_)
        for g, deadline in enumerate(self._strict[last]):
            if deadline < FAR and not flags >> g & 1:
                spent, flags = spent + 1, flags | 1 << g
            if deadline < FAR and self._loose[last][g] < FAR:
                return None
        if spent > self.spare or harm > self.harm:
            return None
        given_up, deviation, crowding, days = label
        given_up += len(self.t.booked) - bisect_right(self.t.booked, last)
        return (given_up, deviation, crowding, days), flags, harm

    def _steps(self, state: State) -> Iterator[_Step]:
        """Every next trip that can follow ``state``."""
        last, floor, open_, refs, flags, spent, harm = state
        closing = self.deadline(open_, refs)
        for day in self._days_after(last, floor):
            eased = self._ease(last, day, flags, spent)
            if eased is None:
                return
            flags_now, spent_now, harm_now = *eased, harm
            waiting, refs_then = open_, refs
            if day > closing:
                waiting, refs_then = self.lapse(open_, refs, day)
                lost = open_ & ~waiting
                spent_now += lost.bit_count()
                harm_now += self._harm(lost)
            if spent_now > self.spare or harm_now > self.harm:
                return
            got, refs_now = self.serve(day, waiting, refs_then)
            services = self.services(day, last, got)
            floor_now = BEFORE if got or day in self.t.fixed else self._needless[last]
            if (got or services or day in self.t.fixed) and floor_now < FAR:
                left = waiting & ~got
                floor_now = floor_now if floor_now > day else BEFORE
                after = (
                    day,
                    floor_now,
                    left,
                    self._still_referred(refs_now, left),
                    flags_now,
                    spent_now,
                    harm_now,
                )
                yield _Step(after, got, refs_now, services)

    def _grown(self, label: Label, last: int, step: _Step) -> Label:
        """The label of ``step``, taken after a trip on ``last``."""
        given_up, deviation, crowding, days = label
        day, booked = step.state[0], self.t.booked
        items = self.t.items
        return (
            given_up + bisect_left(booked, day) - bisect_right(booked, last),
            deviation
            + sum(items[n].weight * abs(day - self.window(n, step.refs)[1]) for n in bits(step.got)),
            crowding + sum(self.t.room.taken(service, day) for service in step.services),
            (*days, day),
        )

    def _days_after(self, last: int, floor: int) -> tuple[int, ...]:
        """The days after ``floor`` for the next trip: none leaps over a trip that cannot move."""
        days, fixed = self.t.candidates, self.t.fixed
        place = bisect_right(fixed, last)
        end = len(days) if place == len(fixed) else bisect_right(days, fixed[place])
        return days[bisect_right(days, max(last, floor)) : end]

    def _ease(self, last: int, day: int, flags: int, spent: int) -> tuple[int, int] | None:
        """The gap rules that have given way if the next check is on ``day``; None: too late."""
        for g, deadline in enumerate(self._strict[last]):
            if day <= deadline:
                continue
            if day > self._loose[last][g] or self.spare == 0:
                return None
            if not flags >> g & 1:
                flags, spent = flags | 1 << g, spent + 1
        return flags, spent

    def lapse(self, open_: int, refs: Refs, day: int) -> tuple[int, Refs]:
        """The needs still open on ``day``: those whose window has closed are gone.

        A need that hangs on a lapsed one falls back on its own window, and may lapse with it.
        """
        while self.deadline(open_, refs) < day:
            gone = 0
            for n in bits(open_):
                if not self.bases_of[n] & open_ and self.window(n, refs)[2] < day:
                    gone |= 1 << n
            open_ &= ~gone
        return open_, refs

    def serve(self, day: int, open_: int, refs: Refs) -> tuple[int, Refs]:
        """The needs that a trip on ``day`` serves, and the served days as they then stand."""
        got = 0
        while True:
            waiting = open_ & ~got
            inside = waiting & self.t.static_at[day]
            for n in bits(waiting & ~self.t.free):
                if not self.bases_of[n] & waiting:
                    earliest, _, latest = self.window(n, refs)
                    inside |= (earliest <= day <= latest) << n
            new = inside & self._reach(day, got | inside)
            if not new:
                return got, refs
            got |= new
            refs = tuple(
                day if new >> base & 1 else old for base, old in zip(self.t.bases, refs, strict=True)
            )

    def _reach(self, day: int, at_hand: int) -> int:
        """The needs with a place on ``day``; an urgent one on a full day takes its service's others along."""
        reach = self.t.allowed_at[day]
        for urgent, same_service in self.t.full_at[day]:
            if at_hand & urgent:
                reach |= same_service
        return reach

    def services(self, day: int, last: int, got: int) -> tuple[str, ...]:
        """The services a trip on ``day`` uses: those of its needs, else those the gap rules ask for."""
        if not got:
            asked = {g.service for g in self.t.gaps if g.at_work(last)}
            return tuple(sorted(service for service in asked if self.t.room.fits(service, day)))
        known = self._services.get(got)
        if known is None:
            known = self._services[got] = tuple(sorted({self.t.items[n].service for n in bits(got)}))
        return known

    def window(self, n: int, refs: Refs) -> Window:
        """The window of need ``n``, none of whose bases is open."""
        item = self.t.items[n]
        if not item.after:
            return item.own
        known = self._windows.get((n, refs))
        if known is None:
            edges = [(refs[self.position[base]], after) for base, after in item.after]
            known = resolve(item.own, [(day, after) for day, after in edges if day != BEFORE])
            self._windows[n, refs] = known
        return known

    def deadline(self, open_: int, refs: Refs) -> int:
        """The first ``latest`` among the open needs whose windows are known."""
        known = self._deadlines.get((open_, refs))
        if known is None:
            ends = (self.window(n, refs)[2] for n in bits(open_) if not self.bases_of[n] & open_)
            known = self._deadlines[open_, refs] = min(ends, default=FAR)
        return known

    def _still_referred(self, refs: Refs, open_: int) -> Refs:
        """Forget served days on which nothing open hangs, so that equal futures are equal states."""
        return tuple(
            day if dependents & open_ else BEFORE
            for day, dependents in zip(refs, self.t.dependents, strict=True)
        )

    def _harm(self, lost: int) -> int:
        return sum(2 if self.t.items[n].urgent else 1 for n in bits(lost))

    def _bound(self, state: State) -> int:
        last, _, open_, refs, flags, spent, _ = state
        asked = last, open_, refs, flags, self.spare - spent
        known = self._needed.get(asked)
        if known is None:
            known = self._needed[asked] = self._bounds.trips(*asked)
        return known
