"""What others did to a plan while someone looked at it: who, which version, what differs."""

from __future__ import annotations

from dataclasses import dataclass

from followup.desks.door.hand import DeskHand
from followup.desks.page.effect import PlanWords, effect
from followup.records.plans.plans import plans_of
from followup.records.store.store import Session
from followup.records.views import PlanVersion

# Codes of the errors that say: another version is the newest now.
CHANGED = frozenset({"plan.changed", "plan.replaced", "plan.signed"})


@dataclass(frozen=True)
class Meanwhile:
    """The newest version, and what it changes of the one that was looked at."""

    seen: PlanVersion
    newest: PlanVersion
    lines: tuple[str, ...]

    @property
    def by(self) -> str:
        """Who made or signed the newest version."""
        return self.newest.signed_by or self.newest.drafted_by


def meanwhile(session: Session, hand: DeskHand, seen: PlanVersion) -> Meanwhile | None:
    """What happened since the version ``seen``; None where it is the newest."""
    newest = plans_of(session, seen.patient_id)[0]
    if newest.id == seen.id:
        return None
    words = PlanWords(hand.texts, hand.protocol)
    return Meanwhile(seen, newest, effect(seen.body, newest.body, words))
