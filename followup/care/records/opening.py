"""Whoever opens anything of one patient stands in the journal, once a day."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from followup.care.hand import Hand
from followup.records.people.opening import (
    OPENED,
    Named,
    is_noted,
    journal_of_patient,
    note_opening,
    patient_named,
)
from followup.records.people.patients import unknown_patient
from followup.records.store.journal import JournalEntry

_MOST = 50_000


@dataclass
class KnownOpenings:
    """What this process knows to be in the journal, so that a second look asks the database nothing.

    Threads may share it: each step is one operation on a set, and what is lost is only asked again.
    """

    known: set[tuple[date, str, str, str]] = field(default_factory=set)

    def add(self, key: tuple[date, str, str, str]) -> None:
        """Remember who opened on which day by what; where there is too much, nothing else is remembered."""
        if len(self.known) >= _MOST:
            self.known = set()
        self.known.add(key)


def opens(hand: Hand, opened: KnownOpenings, by: Named, value: str) -> None:
    """Whoever acts is about to see something of the patient of this code, plan, sheet or visit.

    The entry is stored before anything is shown: where the database takes nothing (``store.busy``,
    ``store.full``, ``store.unreachable``) nothing is shown either, in the usual line. A log-in is kept in
    force by a write too, so that whoever can be let in can be noted; and a look that nobody could be asked
    about afterwards is what this is to prevent. Of nobody nothing is noted.
    """
    key = (hand.today, hand.actor.login, by, value)
    if key in opened.known:
        return
    with hand.store.read() as session:
        patient_id = patient_named(session, by, value)
        noted = patient_id is not None and is_noted(
            session, login=hand.actor.login, patient_id=patient_id, day=hand.today
        )
    if patient_id is None:
        return
    if not noted:
        with hand.store.write(hand.actor, hand.now) as unit:
            note_opening(unit, patient_id=patient_id, day=hand.today)
    opened.add(key)


def who_opened(hand: Hand, code: str) -> tuple[JournalEntry, ...]:
    """Who opened the patient of this code and when, newest first. Error ``patient.unknown``."""
    with hand.store.read() as session:
        entries = journal_of_patient(session, code)
    if not entries:
        raise unknown_patient()
    return tuple(entry for entry in reversed(entries) if entry.action == OPENED)
