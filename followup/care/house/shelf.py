"""Bottles to hand out today and this week, against what was counted on the shelf."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Annotated

from pydantic import Field

from followup.care.act import Act
from followup.care.hand import Hand
from followup.clinical.careplan import Step
from followup.clinical.protocol.formulary import label_of
from followup.errors import FollowupError
from followup.recall.jobs.pharmacy import BEFORE, BottleToHandOut, hand_outs
from followup.records.plans.desk_notes import MOST_BOTTLES, StockCount, count_stock, stock
from followup.records.views import PatientView
from followup.said import say

WEEK = 7
Bottles = Annotated[int, Field(strict=True, ge=0, le=MOST_BOTTLES)]


class Counts(Act):
    """Bottles counted on the shelf, by medicine; one that is not named keeps its last count."""

    counts: Annotated[
        dict[Annotated[str, Field(max_length=60)], Bottles], Field(min_length=1, max_length=200)
    ]


@dataclass(frozen=True)
class MedicineLine:
    """One medicine's bottles. ``gone``: handed out by the plans since the last count.

    ``missing``: how many the week needs beyond what is left of it.
    """

    medicine: str
    name: str
    today: int
    week: int
    counted: StockCount | None
    gone: int

    @property
    def missing(self) -> int | None:
        return None if self.left is None else max(0, self.week - self.left)

    @property
    def left(self) -> int | None:
        """What should stand on the shelf this morning; None where nobody counted."""
        return max(0, self.counted.bottles - self.gone) if self.counted else None


@dataclass(frozen=True)
class HandOutLine:
    """One bottle that one person takes home today, or so many ``tablets`` for the dose of ``step``."""

    who: PatientView
    name: str
    eye: str | None
    number: int
    tablets: str = ""
    step: Step | None = None


@dataclass(frozen=True)
class Shelf:
    """What the week up to ``until`` takes by medicine, and what goes out today by person.

    ``read``: the bottles that it was counted from, those of the week behind among them.
    """

    lines: tuple[MedicineLine, ...]
    out: tuple[HandOutLine, ...]
    until: date
    read: tuple[BottleToHandOut, ...]


def store_counts(hand: Hand, sent: Counts) -> None:
    """Store what was counted on the shelf. Errors: ``stock.none``, ``stock.count``."""
    if not sent.counts or not hand.protocol.formulary.keys() >= sent.counts.keys():
        raise FollowupError(
            "stock.none", say("nothing was counted"), where=say("stock"), fix=say("type a count, then store")
        )
    with hand.store.write(hand.actor, hand.now) as unit:
        count_stock(unit, counts=sent.counts)


def shelf(hand: Hand) -> Shelf:
    """Bottles of the plans in force against the last counts."""
    formulary = hand.protocol.formulary
    end = hand.today + timedelta(days=WEEK - 1)
    with hand.store.read() as session:
        counted = stock(session)
        since = min([hand.today - BEFORE, *(_day(hand, one) for one in counted.values())])
        given = hand_outs(session, since, end)
    ahead = [one for one in given if one.bottle.handed_over >= hand.today]
    now = [one for one in ahead if one.bottle.handed_over == hand.today]
    week, today = _amounts(ahead), _amounts(now)
    lines = tuple(
        MedicineLine(
            key,
            label_of(key, formulary),
            today[key],
            week[key],
            counted.get(key),
            _gone_since(hand, key, counted.get(key), given),
        )
        for key in sorted({*week, *counted}, key=lambda key: label_of(key, formulary).casefold())
    )
    out = (
        HandOutLine(
            one.patient,
            label_of(one.course.medicine, formulary),
            one.course.eye,
            one.bottle.number,
            one.bottle.figure if one.bottle.units else "",
            one.step,
        )
        for one in now
    )
    return Shelf(lines, tuple(out), end, given)


def _amounts(given: Iterable[BottleToHandOut]) -> Mapping[str, int]:
    """Bottles, and tablets in whole ones, by medicine."""
    found: Counter[str] = Counter()
    for one in given:
        found[one.course.medicine] += ceil(one.amount)
    return found


def _day(hand: Hand, count: StockCount) -> date:
    return count.at.astimezone(hand.zone).date()


def _gone_since(hand: Hand, medicine: str, count: StockCount | None, given: Iterable[BottleToHandOut]) -> int:
    """Bottles that the plans gave out from the day of the count up to yesterday.

    Whether that day's own were still on the shelf is not known: they count as gone, so that no
    shortage is hidden.
    """
    if count is None:
        return 0
    start = _day(hand, count)
    gone = (one for one in given if one.course.medicine == medicine)
    return sum(ceil(one.amount) for one in gone if start <= one.bottle.handed_over < hand.today)
