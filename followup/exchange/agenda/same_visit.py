"""Which visits of a replaced plan go on in the new one: a calendar must know them by the same name."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from followup.records.views import TripView


@dataclass(frozen=True)
class VisitThroughPlans:
    """One visit with what it was in the plans before, oldest first."""

    links: tuple[TripView, ...]

    @property
    def root(self) -> int:
        """The number that names it for good: that of its first plan."""
        return self.links[0].id

    @property
    def now(self) -> TripView:
        return self.links[-1]

    @property
    def ids(self) -> frozenset[int]:
        return frozenset(link.id for link in self.links)


def through_plans(trips: Iterable[TripView]) -> tuple[VisitThroughPlans, ...]:
    """The visits of one patient, each once. Who came without a visit is left out.

    A visit of a new plan is one that the plan just before it had, cancelled when it was replaced, where it
    is on the same day, else where both look at the same thing; the most in common goes first.
    """
    found: list[list[TripView]] = []
    before: list[list[TripView]] = []
    real = sorted((trip for trip in trips if trip.services or trip.serves), key=lambda t: (t.plan_id, t.id))
    for _, group in groupby(real, key=lambda trip: trip.plan_id):
        plan, open_ends = list(group), [one for one in before if one[-1].status == "cancelled"]
        taken: dict[int, list[TripView]] = {}
        pairs = sorted(
            ((_likeness(old[-1], new), old, new) for old in open_ends for new in plan),
            key=lambda pair: (*(-n for n in pair[0]), pair[1][-1].id, pair[2].id),
        )
        for likeness, old, new in pairs:
            if any(likeness) and new.id not in taken and old not in taken.values():
                taken[new.id] = old
        before = []
        for new in plan:
            chain = taken.get(new.id)
            if chain is None:
                found.append(chain := [])
            chain.append(new)
            before.append(chain)
    return tuple(VisitThroughPlans(tuple(chain)) for chain in found)


def _likeness(old: TripView, new: TripView) -> tuple[int, int]:
    """Whether they are on one day, and how much both look at."""
    return int(old.day == new.day), len(set(old.serves) & set(new.serves))
