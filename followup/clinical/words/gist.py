"""What lists say of a plan, made of each version once: no line of a list reads a whole plan."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from pydantic import TypeAdapter

from followup.clinical.careplan import BeforeLeaving, CarePlan, Course, ReviewNeed, Tier
from followup.clinical.day_plan import Bottle
from followup.clinical.record import Eye
from followup.clinical.statuses import TO_COME
from followup.clinical.words.why_reasons import because_of
from followup.said import SENTENCES, SaidText


@dataclass(frozen=True, slots=True)
class ListedNeed:
    """A check of a plan as a list names it. ``because``: why it is needed, in sentences."""

    key: str
    kind: str
    eye: Eye | None
    tier: Tier
    latest: date
    served: bool
    served_on: date | None
    because: tuple[SaidText, ...]


@dataclass(frozen=True, slots=True)
class PlanGist:
    """A plan as lists need it. ``questions``: how many wait for the surgeon; ``courses`` without reasons.

    ``watched``: kind of look and eye of a visit that serves no need of its own. ``to_come``: day and services
    of each visit that it plans. ``last_drop``: the last day on which the plan itself has something given;
    None where it gives nothing.
    """

    needs: tuple[ListedNeed, ...]
    watched: tuple[tuple[str, Eye], ...]
    courses: tuple[Course, ...]
    supply: tuple[Bottle, ...]
    before_leaving: tuple[BeforeLeaving, ...]
    to_come: tuple[tuple[date, tuple[str, ...]], ...]
    tiers: frozenset[Tier]
    questions: int
    signable: bool
    last_drop: date | None

    def needs_of(self, keys: Collection[str]) -> tuple[ListedNeed, ...]:
        """The checks with these keys, in the plan's order."""
        return tuple(need for need in self.needs if need.key in keys)

    def course(self, key: str) -> Course:
        return next(course for course in self.courses if course.key == key)


_STORED = TypeAdapter(PlanGist)


def gist_of(plan: CarePlan) -> PlanGist:
    """What lists say of ``plan``."""
    return PlanGist(
        needs=tuple(_need(need) for need in plan.needs),
        watched=plan.watched,
        courses=tuple(course.model_copy(update={"reasons": ()}) for course in plan.courses),
        supply=plan.supply,
        before_leaving=plan.before_leaving,
        to_come=tuple((trip.date, trip.services) for trip in plan.trips if trip.status in TO_COME),
        tiers=frozenset(plan.tiers.values()),
        questions=sum(question.blocks for question in plan.questions),
        signable=plan.signable,
        last_drop=_last_drop(plan),
    )


def gist_to_store(gist: PlanGist) -> str:
    """As it is stored beside its plan: with its sentences whole, what is usual left out."""
    return _STORED.dump_json(gist, exclude_defaults=True, context=SENTENCES).decode()


@lru_cache(maxsize=2048)
def read_gist(text: str) -> PlanGist:
    """A stored gist; those read last are remembered, some 20 kB each. A ValueError where it is none."""
    return _STORED.validate_json(text, context=SENTENCES)


def _need(need: ReviewNeed) -> ListedNeed:
    return ListedNeed(
        key=need.key,
        kind=need.kind,
        eye=need.eye,
        tier=need.tier,
        latest=need.latest,
        served=need.state == "served",
        served_on=need.served_on,
        because=tuple(because_of(reason) for reason in need.reasons),
    )


def _last_drop(plan: CarePlan) -> date | None:
    """What goes on from before the operation goes on after the plan too, and keeps none open. A held course
    counts as long as its steps run: it may be released.
    """
    own = (c for c in plan.courses if c.state != "stopped" and not c.from_before and not c.goes_on)
    return max((course.last_day for course in own if course.last_day), default=None)
