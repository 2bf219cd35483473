"""What was noted today and can be taken back, in words."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from followup.clinical.protocol.recall import AttemptOutcome
from followup.desks.door.hand import DeskHand
from followup.language.catalogues import N_, Translator
from followup.language.dates import long_date
from followup.records.desk.taking_back import NotedStep, steps_of_day
from followup.records.store.store import Session

SAID: dict[AttemptOutcome, str] = {
    "will come": N_("Will come"),
    "no answer": N_("No answer"),
    "wrong number": N_("Wrong number"),
    "refused": N_("Does not want to come"),
    "moved away": N_("Moved away"),
    "died": N_("Died"),
    "second contact told": N_("Second contact was told"),
    "community worker sent": N_("Community worker is on the way"),
    "surgeon told": N_("Surgeon was told"),
}
_WORDS: dict[str, str] = {
    "arrived": N_("Marked as arrived"),
    "came without a visit": N_("Marked as here without a visit"),
    "left without findings": N_("Marked: left without findings"),
    "visit done": N_("Visit marked as done"),
    "did not come": N_("Marked: did not come"),
    "visit booked": N_("Day booked"),
    "visit moved": N_("Visit moved from %(old)s to %(new)s"),
    "day promised": N_("Day promised and booked: %(new)s"),
    "tried to reach": N_("Tried to reach: %(outcome)s"),
    "sheet handed over": N_("Sheet %(number)s handed over"),
    "bottles given": N_("Bottles marked as given"),
}


@dataclass(frozen=True)
class Noted:
    """One step in words. ``entry`` is what its button sends."""

    entry: int
    code: str
    text: str
    at: datetime
    by: str


def noted_today(
    session: Session, hand: DeskHand, codes: Collection[str], actions: Collection[str] = ()
) -> list[Noted]:
    """What whoever is logged in may take back of these patients, newest first."""
    words = hand.texts.translator
    return [
        Noted(step.number, step.patient_code, _text(step, words), step.at, step.by)
        for step in steps_of_day(session, hand.now, codes, actions=actions)
        if step.roles & hand.roles
    ]


def _text(step: NotedStep, words: Translator) -> str:
    given = step.details
    values = {
        name: long_date(date.fromisoformat(str(given[name])), words.language)
        for name in ("old", "new")
        if given.get(name)
    }
    outcome = str(given.get("outcome") or "")
    said = words.gettext(SAID[outcome]) if outcome in SAID else outcome
    values |= {"outcome": said, "number": str(given.get("issue", ""))}
    return words.gettext(_WORDS[step.action]) % values
