"""Rounds: at which times of the day the patient sits down and puts in all that is due.

Chosen in this order, each aim exact, over all phases together:

1. as few rounds as possible: the sum over phases of days x rounds a day;
2. the sum over phases of days x the squared gaps (hours², round the 24 hour clock, the night
   counts) of every bottle, plus the price (100 hours²·days) for each time of day that is new
   against the phase before, the sheet in force coming before the first;
3. ties: fewest days without a round at rising, then the smallest sum of 2^slot, first phase
   first. Then each bottle takes its own times from the rounds by the same sum and ties over all
   phases: its own gaps, and the price for each time that is new to it (:mod:`own_times`).

These are properties of a timetable and of no medicine: what may be given how often, and how
close together, comes in as constraints.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from followup.errors import FollowupError
from followup.said import say
from followup.timing.own_times import Stay, own_times
from followup.timing.rounds_search import NO_SET, BottleKind, Demand, best_rounds, least_gaps
from followup.timing.slotsets import HOURS_A_DAY, mask_of, slots_of
from followup.timing.waking import WakingHours

__all__ = ["Phase", "PhaseRounds", "RoundBottle", "RoundsPlan", "WakingHours", "plan_rounds"]

DEFAULT_PRICE = 100
MOST_SLOTS = 20
MOST_WORK = 2**60


@dataclass(frozen=True)
class RoundBottle:
    """A bottle (or a tablet) with what its times must keep; all that is given holds together.

    ``shortest``: least hours between two of its times, round the clock (from the last of a day
    to the first of the next as well). ``allowed``: the only slots it may have. ``fixed``: its
    times are exactly these slots, so its count is theirs. ``previous``: its own times on the sheet
    in force; None where it stands on none, so that its first times cost nothing.
    """

    key: str
    shortest: int = 1
    allowed: frozenset[int] | None = None
    fixed: frozenset[int] | None = None
    previous: frozenset[int] | None = None


@dataclass(frozen=True)
class Phase:
    """A run of ``days`` on which every bottle keeps its count a day, by bottle key."""

    days: int
    counts: Mapping[str, int]


@dataclass(frozen=True)
class PhaseRounds:
    """The slots of all rounds of a phase, and of each bottle among them, ascending."""

    times: tuple[int, ...]
    bottle_times: Mapping[str, tuple[int, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class RoundsPlan:
    """The best timetable. ``rounds_days`` is the sum of aim 1, ``cost`` that of aim 2 (every bottle at its
    least gaps within the rounds), ``own_cost`` the sum over bottles that their own times then have."""

    phases: tuple[PhaseRounds, ...]
    rounds_days: int
    cost: int
    own_cost: int


def plan_rounds(
    slots: int,
    phases: Sequence[Phase],
    bottles: Sequence[RoundBottle],
    *,
    previous: frozenset[int] | None = None,
    price: int = DEFAULT_PRICE,
) -> RoundsPlan:
    """The best rounds for every phase over ``slots`` hourly slots (slot 0 is rising).

    ``previous`` holds the slots of the sheet in force; None means a first sheet, whose times
    cost nothing. ``price`` in hours²·days. Raises :class:`FollowupError` ``rounds.impossible``
    where a count can't be placed, ``rounds.input`` where the question makes no sense.
    """
    by_key = _checked(slots, phases, bottles, price)
    kinds = [
        {key: _kind(by_key[key], count, slots) for key, count in phase.counts.items()} for phase in phases
    ]
    demands = [Demand(phase.days, tuple(own.values())) for phase, own in zip(phases, kinds, strict=True)]
    for number, own in enumerate(kinds, 1):
        _refuse_impossible(slots, own, number)
    before = None if previous is None else mask_of(_within(previous, slots))
    enough = _sufficient_price(demands, slots, price)
    found = best_rounds(slots, tuple(demands), before, enough)
    times = _own(slots, phases, kinds, found, by_key, enough)
    planned = tuple(
        PhaseRounds(slots_of(mask), {key: times[key, number] for key in phase.counts})
        for number, (phase, mask) in enumerate(zip(phases, found, strict=True))
    )
    gaps = [
        phase.days * sum(least_gaps(slots, mask, kind) for kind in wanted.values())
        for phase, mask, wanted in zip(phases, found, kinds, strict=True)
    ]
    return RoundsPlan(
        planned,
        _rounds_days(phases, planned),
        sum(gaps)
        + price * _new([p.times for p in planned], None if previous is None else _within(previous, slots)),
        sum(_own_cost(bottle, phases, planned, slots, price) for bottle in bottles),
    )


def _own(
    slots: int,
    phases: Sequence[Phase],
    kinds: Sequence[Mapping[str, BottleKind]],
    rounds: Sequence[int],
    bottles: Mapping[str, RoundBottle],
    price: int,
) -> dict[tuple[str, int], tuple[int, ...]]:
    """Every bottle's own times by key and number of the phase; a pause is passed over."""
    scale = sum(phase.days for phase in phases) + 1
    found: dict[tuple[str, int], tuple[int, ...]] = {}
    for key, bottle in bottles.items():
        given = [number for number, phase in enumerate(phases) if key in phase.counts]
        stays = [Stay(phases[n].days, rounds[n], kinds[n][key]) for n in given]
        before = None if bottle.previous is None else mask_of(_within(bottle.previous, slots))
        times = own_times(slots, stays, before, price, scale)
        found |= {(key, n): own for n, own in zip(given, times, strict=True)}
    return found


def _checked(
    slots: int, phases: Sequence[Phase], bottles: Sequence[RoundBottle], price: int
) -> dict[str, RoundBottle]:
    by_key = {bottle.key: bottle for bottle in bottles}
    unknown = sorted({key for phase in phases for key in phase.counts} - by_key.keys())
    complaints = [
        (not 1 <= slots <= MOST_SLOTS, f"a day of {slots} slots can't be planned (1 to {MOST_SLOTS})"),
        (len(by_key) != len(bottles), "two bottles have the same key"),
        (bool(unknown), f"no bottle is called {', '.join(unknown)}"),
        (price < 0, "the price of a new time is below zero"),
        (any(bottle.shortest < 1 for bottle in bottles), "a shortest interval is under one hour"),
        (any(phase.days < 1 for phase in phases), "a phase has no day"),
        (any(n < 1 for phase in phases for n in phase.counts.values()), "a count a day is under one"),
    ]
    for wrong, what in complaints:
        if wrong:
            raise FollowupError("rounds.input", what, where=say("rounds"))
    return by_key


def fits(bottle: RoundBottle, count: int, slots: int) -> bool:
    """Whether ``count`` a day have a place in a waking day of so many slots."""
    return _kind(bottle, count, slots).possible(slots)


def _kind(bottle: RoundBottle, count: int, slots: int) -> BottleKind:
    allowed = frozenset(range(slots)) if bottle.allowed is None else _within(bottle.allowed, slots)
    fixed = None
    if bottle.fixed is not None:
        fixed = mask_of(bottle.fixed) if bottle.fixed <= allowed else NO_SET
    return BottleKind(count, bottle.shortest, mask_of(allowed), fixed)


def _within(slot_numbers: frozenset[int], slots: int) -> frozenset[int]:
    return frozenset(slot for slot in slot_numbers if 0 <= slot < slots)


def _refuse_impossible(slots: int, kinds: Mapping[str, BottleKind], phase: int) -> None:
    """Bottles never hinder each other (every slot may be a round), so each is judged alone."""
    for key, kind in kinds.items():
        if not kind.possible(slots):
            raise FollowupError(
                "rounds.impossible",
                say(
                    "{count} a day can't be placed in the waking day as its interval and times demand",
                    count=kind.count,
                ),
                where=say("{key}, phase {phase}", key=key, phase=phase),
                fix=say("give fewer a day, another time, or a longer waking day"),
            )


def _sufficient_price(demands: Sequence[Demand], slots: int, price: int) -> int:
    """The price, cut where more changes no choice, so that whole numbers of 64 bits suffice."""
    gaps = sum(demand.days * HOURS_A_DAY**2 * len(demand.kinds) for demand in demands)
    enough = min(price, gaps + 1)
    days = sum(demand.days for demand in demands) + 1
    if (gaps + enough * slots * len(demands)) * days >= MOST_WORK:
        raise FollowupError(
            "rounds.input", say("the phases are too long to be compared exactly"), where=say("rounds")
        )
    return enough


def _rounds_days(phases: Sequence[Phase], planned: Sequence[PhaseRounds]) -> int:
    return sum(phase.days * len(rounds.times) for phase, rounds in zip(phases, planned, strict=True))


def _new(times: Sequence[tuple[int, ...]], before: frozenset[int] | None) -> int:
    """How many times are new, each against those before it; None before the first: it costs nothing."""
    known, total = before, 0
    for now in times:
        total += 0 if known is None else len(set(now) - known)
        known = frozenset(now)
    return total


def _own_cost(
    bottle: RoundBottle, phases: Sequence[Phase], planned: Sequence[PhaseRounds], slots: int, price: int
) -> int:
    """What one bottle's own times come to, counted afresh from the times."""
    stays = [
        (phase.days, rounds.bottle_times[bottle.key])
        for phase, rounds in zip(phases, planned, strict=True)
        if bottle.key in phase.counts
    ]
    before = None if bottle.previous is None else _within(bottle.previous, slots)
    gaps = sum(days * _gap_sum(times) for days, times in stays)
    return gaps + price * _new([times for _, times in stays], before)


def _gap_sum(times: tuple[int, ...]) -> int:
    following = (*times[1:], times[0] + HOURS_A_DAY)
    return sum((later - earlier) ** 2 for earlier, later in zip(times, following, strict=True))
