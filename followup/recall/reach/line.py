"""One line of the list to reach: whom, why, how late, and what comes next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from followup.clinical.careplan import Tier
from followup.clinical.record import Eye, Phone
from followup.clinical.words.gist import ListedNeed
from followup.recall.reach.next_attempt import NextAttempt
from followup.records.desk.attempts import AttemptView
from followup.records.views import PatientView

ReachKind = Literal[
    "damaged",
    "overdue",
    "left unseen",
    "plan again",
    "closed day",
    "plan by hand",
    "plan incomplete",
    "new version",
]


@dataclass(frozen=True)
class ToReach:
    """One person to reach, for the most pressing reason; ``also`` holds the others.

    ``since`` is the day on which it became true, on a closed day that of the visit. ``needs`` are the
    checks at stake with what the protocol says of each; ``days`` counts the days past the last possible
    one (0 while that lies ahead). ``blocked``: the plan can't be signed yet. ``seen``: the last day here
    since the missed visit, ``seen_in_time``: that day lay in its window. ``next``: what to try, and from
    which day on.
    """

    kind: ReachKind
    patient: PatientView
    tier: Tier
    since: date
    days: int
    plan_id: int
    trip_id: int | None = None
    due_by: date | None = None
    missed: bool = False
    questions: int = 0
    blocked: bool = False
    needs: tuple[ListedNeed, ...] = ()
    seen: date | None = None
    seen_in_time: bool = False
    also: tuple[ToReach, ...] = ()
    tried: tuple[AttemptView, ...] = ()
    next: NextAttempt | None = None
    waits: bool = False

    @property
    def to_move(self) -> tuple[ToReach, ...]:
        """The reasons that are a visit on a day which does not offer what it is for, by day."""
        return tuple(item for item in (self, *self.also) if item.kind == "closed day")

    @property
    def checks(self) -> tuple[ListedNeed, ...]:
        """The checks at stake for any of the reasons, each once."""
        found = {need.key: need for item in (self, *self.also) for need in item.needs}
        return tuple(found.values())

    @property
    def eyes(self) -> tuple[Eye, ...]:
        """The eyes at stake; both of the record's where no check names one."""
        named = {need.eye for need in self.checks if need.eye}
        return tuple(eye for eye in self.patient.eyes if eye in named) or self.patient.eyes

    @property
    def telephones(self) -> tuple[Phone, ...]:
        return self.patient.telephones

    @property
    def because(self) -> tuple[str, ...]:
        """What the protocol says of the checks at stake, each sentence once."""
        return tuple(dict.fromkeys(text for need in self.checks for text in need.because))
