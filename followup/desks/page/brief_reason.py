"""Why a person must be reached, in the few words that stand on a line."""

from __future__ import annotations

from followup.care.trips.trip_lines import kind_words
from followup.desks.door.hand import DeskHand
from followup.language.catalogues import N_
from followup.recall.reach.brief import brief
from followup.recall.reach.line import ToReach

# What is overdue where the plan no longer says what for.
_VISIT = N_("visit")


def brief_reason(hand: DeskHand, item: ToReach) -> str:
    """The most pressing reason, with the first of the checks at stake."""
    first = next(iter(item.needs), None)
    texts = hand.texts
    check = texts.told(kind_words(hand, first.kind)) if first else texts.gettext(_VISIT)
    return brief(item, check, texts.translator)
