"""Who waits for bottles, and what the pharmacy does about it: give them, take that back, print labels."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Annotated

from pydantic import Field

from followup.care.act import Act, Id
from followup.care.hand import Hand
from followup.care.plans.plan_view import record_of
from followup.care.sheets.content import clinic_info, plans_printed
from followup.errors import FollowupError
from followup.language.catalogues import translator
from followup.recall.jobs.pharmacy import BEFORE, BottleToHandOut, hand_outs
from followup.records.desk.handing import GivenBottle, Handing, handings, note_given
from followup.records.desk.taking_back import take_back
from followup.records.duties import STORE
from followup.records.people.patients import known, lock_patient
from followup.records.plans.plans import plan
from followup.records.plans.sheets import sheets_of
from followup.records.store.store import Session
from followup.records.views import PatientView
from followup.said import say
from followup.sheets.content import sheet_language
from followup.sheets.inputs import SheetInputs
from followup.sheets.labels import label
from followup.sheets.model import BottleLabel
from followup.sheets.options import SheetOptions


class BottlesGiven(Act):
    """What was given of the plan in force: each bottle by its course and number, as the list names it."""

    plan: Id
    bottles: Annotated[
        list[Annotated[str, Field(min_length=1, max_length=120)]], Field(min_length=1, max_length=60)
    ]


class WronglyGiven(Act):
    """What was marked as given by mistake, by its entry in the journal."""

    entry: Id


@dataclass(frozen=True)
class WaitingPerson:
    """Somebody with a signed plan whose bottles are not given yet. ``since``: the first day of theirs."""

    who: PatientView
    plan_id: int
    bottles: tuple[BottleToHandOut, ...]

    @property
    def since(self) -> date:
        return min(one.bottle.handed_over for one in self.bottles)


@dataclass(frozen=True)
class Window:
    """The pharmacy's window: what is due today, what was due before, and what was given of today's.

    Somebody may stand in several: what was due on another day is marked by itself.
    """

    today: tuple[WaitingPerson, ...]
    before: tuple[WaitingPerson, ...]
    given: tuple[WaitingPerson, ...]


def window(hand: Hand, read: Iterable[BottleToHandOut] | None = None) -> Window:
    """The bottles of today, and of the week before where nobody has marked them.

    ``read``: the bottles of all these days, and maybe of others, where they are read already.
    """
    first = hand.today - BEFORE
    with hand.store.read() as session:
        found = hand_outs(session, first, hand.today) if read is None else read
        due = [one for one in found if first <= one.bottle.handed_over <= hand.today]
        kept = _by_patient(handings(session, {one.patient.id for one in due}))
    open_ones = [one for one in due if not _is_given(one, kept) and one.bottle.discard >= hand.today]
    return Window(
        today=tuple(_by_person(one for one in open_ones if one.bottle.handed_over == hand.today)),
        before=tuple(_by_person(one for one in open_ones if one.bottle.handed_over < hand.today)),
        given=tuple(
            _by_person(one for one in due if one.bottle.handed_over == hand.today and _is_given(one, kept))
        ),
    )


def give(hand: Hand, code: str, sent: BottlesGiven) -> None:
    """Mark bottles as given; those that are already stay as they are.

    Errors: ``patient.unknown``, ``bottle.changed`` where the plan in force names no such bottle any more.
    """
    with hand.store.write(hand.actor, hand.now) as unit:
        who = known(unit.session, code)
        lock_patient(unit, who.id)
        due = hand_outs(unit.session, hand.today - BEFORE, hand.today, who.id)
        chosen = {one.key: one for one in due if one.plan_id == sent.plan}
        if not chosen.keys() >= set(sent.bottles):
            raise changed()
        kept = _by_patient(handings(unit.session, [who.id]))
        new = [chosen[key] for key in dict.fromkeys(sent.bottles) if not _is_given(chosen[key], kept)]
        if new:
            bottles = [
                GivenBottle(o.course.key, o.course.medicine, o.course.eye, o.bottle.number) for o in new
            ]
            note_given(unit, patient_id=who.id, plan_id=sent.plan, bottles=bottles)


def take_given_back(hand: Hand, code: str, act: WronglyGiven) -> None:
    """Take back what was marked as given today. Errors: ``role.missing``, ``back.gone``."""
    with hand.store.write(hand.actor, hand.now) as unit:
        unit.need_role(*STORE)
        take_back(unit, patient_id=known(unit.session, code).id, entry=act.entry)


def changed() -> FollowupError:
    """The error for bottles that the plan in force does not name."""
    return FollowupError(
        "bottle.changed",
        say("the plan was changed meanwhile: these are not its bottles any more"),
        fix=say("look at the list again, then give what stands there"),
    )


def _by_patient(kept: Iterable[Handing]) -> Mapping[int, list[Handing]]:
    found: dict[int, list[Handing]] = {}
    for each in kept:
        found.setdefault(each.patient_id, []).append(each)
    return found


def _is_given(one: BottleToHandOut, kept: Mapping[int, list[Handing]]) -> bool:
    return any(each.holds(one.course, one.bottle.number) for each in kept.get(one.patient.id, ()))


def _by_person(found: Iterable[BottleToHandOut]) -> Iterator[WaitingPerson]:
    """By name; two people of one name are told apart by their code."""

    def place(one: BottleToHandOut) -> tuple[str, str]:
        return one.patient.name.casefold(), one.patient.code

    for _, group in groupby(sorted(found, key=place), key=place):
        bottles = tuple(group)
        yield WaitingPerson(bottles[0].patient, bottles[0].plan_id, bottles)


def labels(hand: Hand, code: str = "") -> tuple[BottleLabel, ...]:
    """The labels of whoever waits today, by name; of one person with what was given today too.

    Each in the language of the patient's sheet. Errors: ``label.none``, and those of the words of a sheet.
    """
    found = window(hand)
    people = (*found.today, *(found.before + found.given if code else ()))
    chosen = [one for person in people if code in ("", person.who.code) for one in person.bottles]
    with hand.store.read() as session:
        if code:
            known(session, code)
        made: dict[int, SheetInputs] = {}
        for one in chosen:
            if one.plan_id not in made:
                made[one.plan_id] = _inputs(session, hand, one)
        info = clinic_info(hand)
        return tuple(label(made[one.plan_id], info, one.bottle) for one in chosen)


def _inputs(session: Session, hand: Hand, one: BottleToHandOut) -> SheetInputs:
    version = plan(session, one.plan_id)
    record = record_of(session, version).record
    sheets = sheets_of(session, one.patient.id)
    words = translator(sheets[-1].language if sheets else sheet_language(record).language.tag)
    return SheetInputs(
        plan=version.body,
        record=record,
        formulary=hand.protocol.formulary,
        aftercare=hand.protocol.aftercare,
        words=words,
        printed_on=hand.today,
        options=SheetOptions(),
        draft_words=words.is_draft,
        earlier=plans_printed(session, one.patient.id),
    )
