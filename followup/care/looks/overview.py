"""Whom a surgeon must see: eyes in danger, inflamed eyes worst first, my overdue patients."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from followup.care.danger import InDanger, in_danger
from followup.care.hand import Hand
from followup.care.trips.trip_lines import TripLine, visit_lines
from followup.clinical.facts.derive import truth
from followup.clinical.facts.eye_rules import apply_rules
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reviews import GRADES, InflamedEyes
from followup.clinical.record import Findings, Record
from followup.clinical.record.eye import followed_eyes
from followup.recall.reach.ladder import ForSurgeon, for_surgeon
from followup.recall.reach.line import ToReach
from followup.recall.reach.worklist import worklist
from followup.records.desk.leaving import left_trips
from followup.records.figures.recent import VersionKey, changed_since, of_records
from followup.records.people.oplist import folded_name, surgeons_of
from followup.records.people.patients import (
    patients_by_id,
)
from followup.records.store.kept import Kept
from followup.records.store.store import Session
from followup.records.trips.trips import day_trips
from followup.records.views import PatientView, TripView


@dataclass(frozen=True)
class Inflamed:
    """An eye above what is expected at its last look of the week; ``day`` counts from surgery."""

    who: PatientView
    look: Findings
    day: int
    rank: tuple[int, ...]


@dataclass(frozen=True)
class Overview:
    """Eyes in danger; who is here and waits for a look; who left without findings; the inflamed eyes of the
    week, my own overdue patients, and those whom only I can decide about."""

    danger: tuple[InDanger, ...]
    here: tuple[TripLine, ...]
    left: tuple[TripLine, ...]
    inflamed: list[Inflamed]
    mine: list[ToReach]
    decide: tuple[ForSurgeon, ...]


def overview(hand: Hand) -> Overview:
    """What a surgeon must see besides the plans to sign."""
    with hand.store.read() as session:
        lines = worklist(session, hand.now, hand.protocol.recall)
        mine = _mine(session, hand, lines)
        decide = for_surgeon(lines, hand.protocol.recall, hand.today)
        left = visit_lines(session, hand, left_trips(session, hand.today))
        here = visit_lines(session, hand, _here(session, hand))
        return Overview(in_danger(session), here, left, _inflamed(session, hand), mine, decide)


def _here(session: Session, hand: Hand) -> Iterator[TripView]:
    """The visits under way of which no look has seen anything yet, by arrival."""
    today = (trip for trip in day_trips(session, hand.today) if trip.seen_on == hand.today)
    waiting = (t for t in today if t.status == "arrived" and t.left_at is None and not t.served)
    yield from sorted(waiting, key=lambda trip: (trip.arrived_at or hand.now, trip.id))


def _mine(session: Session, hand: Hand, lines: Iterable[ToReach]) -> list[ToReach]:
    """The overdue patients among them whom I operated on."""
    overdue = [line for line in lines if line.kind == "overdue"]
    me = {folded_name(hand.actor.name), folded_name(hand.actor.login)}
    surgeons = surgeons_of(session, [line.patient.id for line in overdue])
    return [line for line in overdue if me & surgeons.get(line.patient.id, frozenset())]


@dataclass(frozen=True)
class _Look:
    """A look of a record that says anything of inflammation; ``above``: more of it than is expected."""

    look: Findings
    day: int
    above: bool


# Some 2 kB a look; the records that a clinic changes in a week.
_looks: Kept[VersionKey, tuple[_Look, ...]] = Kept(4096)


def _inflamed(session: Session, hand: Hand) -> list[Inflamed]:
    rules = hand.protocol.review.inflamed
    since = hand.now - timedelta(days=rules.days)
    read = partial(_looks_of, hand.protocol)
    records = of_records(session, changed_since(since), read, kept=_looks, by=hand.protocol.hash)
    above = {
        number: [one for one in _last_looks(looks, hand) if one.above] for number, looks in records.items()
    }
    people = patients_by_id(session, [number for number, looks in above.items() if looks])
    found = [
        Inflamed(people[number], one.look, one.day, severity(one.look, rules))
        for number, looks in above.items()
        for one in looks
    ]
    return sorted(found, key=_place)


def _looks_of(protocol: Protocol, record: Record) -> tuple[_Look, ...]:
    return tuple(
        _Look(look, _day(record, look), above_expected(protocol, record, look))
        for look in record.reviews
        if _looked_for(look)
    )


def _place(item: Inflamed) -> tuple[float, ...]:
    """Worst first; of two that look alike the one longer after surgery, then the higher pressure."""
    pressure = item.look.pressure if isinstance(item.look.pressure, float) else 0.0
    return (*(-part for part in item.rank), -item.day, -pressure)


def _last_looks(looks: Iterable[_Look], hand: Hand) -> Iterator[_Look]:
    first = hand.today - timedelta(days=hand.protocol.review.inflamed.days - 1)
    for eye in ("right", "left"):
        # A look that measured the pressure alone must not hide what was seen the day before.
        week = [one for one in looks if one.look.eye == eye and first <= one.look.date <= hand.today]
        if week:
            yield max(week, key=lambda one: (one.look.date, one.look.time or ""))


def _looked_for(look: Findings) -> bool:
    """Whether this look says anything of inflammation."""
    seen = (look.cells, look.flare, look.hypopyon, look.fibrin)
    return any(found not in (None, "not seen") for found in seen)


def severity(look: Findings, rules: InflamedEyes) -> tuple[int, ...]:
    """The findings in the order of the protocol: larger is worse; below its grade one ranks 0."""
    found = _ranks(look, rules)
    return tuple(found[name] for name in rules.worst)


def _ranks(look: Findings, rules: InflamedEyes) -> dict[str, int]:
    cells = GRADES.index(look.cells) + 1 - GRADES.index(rules.cells_from) if look.cells in GRADES else 0
    flare = int(look.flare[0]) + 1 - int(rules.flare_from[0]) if look.flare and look.flare[0].isdigit() else 0
    return {
        "hypopyon": int(look.hypopyon == "yes"),
        "fibrin": int(look.fibrin == "yes"),
        "cells": max(0, cells),
        "flare": max(0, flare),
    }


def above_expected(protocol: Protocol, record: Record, look: Findings) -> bool:
    """Whether a look shows more than the protocol expects of such an eye on its day.

    Pus and fibrin always do, and flare from its grade on. Cells are read against the protocol's table,
    which knows nothing of flare.
    """
    ranks = _ranks(look, protocol.review.inflamed)
    if any(rank for name, rank in ranks.items() if name != "cells"):
        return True
    if look.cells not in GRADES:
        return False
    day, found = _day(record, look), GRADES.index(look.cells)
    least, most = sorted(
        GRADES.index(protocol.review.expected_cells(uveitic, day)) for uveitic in (False, True)
    )
    if found <= least or found > most:
        return found > most  # whatever the eye is
    mine = [one for one in followed_eyes(record, look.date) if one.eye == look.eye]
    uveitic = any(truth("uveitic", apply_rules(one, protocol).facts) is True for one in mine)
    return found > GRADES.index(protocol.review.expected_cells(uveitic, day))


def _day(record: Record, look: Findings) -> int:
    starts = [o.date for o in record.operations if o.eye == look.eye and o.date <= look.date]
    return (look.date - max(starts)).days if starts else 0
