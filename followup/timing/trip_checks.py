"""Input of the trip planner that contradicts itself is refused in one line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from followup.errors import FollowupError
from followup.timing.trip_types import GapRule, TripNeed

FARTHEST = 3660  # days; a date beyond ten years is a slip of the pen, not a visit


def check_needs(needs: Sequence[TripNeed], served: Mapping[str, date], start: date) -> None:
    """Refuse doubles, windows out of order or out of reach, dependence on the unknown or in a circle."""
    keys = {need.key for need in needs}
    if len(keys) != len(needs):
        double = next(a.key for a, b in pairwise(needs) if a.key == b.key)
        raise FollowupError("trips.need", "stands twice", where=f"need {double}", fix="keep one")
    for need in needs:
        _check_window(need)
        _check_reach(f"need {need.key}", need.latest, start)
        for after in need.after:
            if after.need not in keys and after.need not in served:
                raise FollowupError(
                    "trips.after",
                    f"hangs on {after.need}, which is neither needed nor served",
                    where=f"need {need.key}",
                    fix="add that need or take the dependence out",
                )
            days = (after.earliest, after.target or 0, after.latest or 0)
            if min(days) < 0 or max(days) > FARTHEST:
                raise FollowupError(
                    "trips.after",
                    f"gives days after {after.need} that are below 0 or above {FARTHEST}",
                    where=f"need {need.key}",
                    fix="correct them",
                )
    in_order(needs)


def _check_window(need: TripNeed) -> None:
    if not need.earliest <= need.target <= need.latest:
        raise FollowupError(
            "trips.need",
            f"its window {need.earliest}, {need.target}, {need.latest} is not in order",
            where=f"need {need.key}",
            fix="give earliest, target and latest day in that order",
        )
    if need.weight < 0:
        raise FollowupError(
            "trips.need", "has a negative weight", where=f"need {need.key}", fix="give 0 or more"
        )


def _check_reach(where: str, day: date, start: date) -> None:
    if (day - start).days > FARTHEST:
        raise FollowupError(
            "trips.reach", f"{day} is more than ten years after {start}", where=where, fix="correct the date"
        )


def check_gaps(gaps: Sequence[GapRule], start: date) -> None:
    """Refuse doubles, negative limits and days out of reach."""
    if len({rule.key for rule in gaps}) != len(gaps):
        raise FollowupError("trips.gap", "two gap rules have one key", fix="name them apart")
    for rule in gaps:
        if rule.limit < 0:
            raise FollowupError(
                "trips.gap", "has a limit below 0", where=f"gap rule {rule.key}", fix="give 0 or more days"
            )
        _check_reach(f"gap rule {rule.key}", max(rule.days, default=start), start)


def in_order(needs: Iterable[TripNeed]) -> list[TripNeed]:
    """The needs, each after those on which it hangs."""
    known = {need.key: need for need in needs}
    sorter: TopologicalSorter[str] = TopologicalSorter()
    for key in sorted(known):
        sorter.add(key, *sorted({after.need for after in known[key].after} & known.keys()))
    try:
        return [known[key] for key in sorter.static_order()]
    except CycleError as exc:
        circle = ", ".join(exc.args[1])
        raise FollowupError(
            "trips.after", f"needs hang on each other in a circle: {circle}", fix="cut the circle"
        ) from None
