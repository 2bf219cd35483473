"""An eye as it stands: its last cells and pressure, and what a look today must hold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Literal

from followup.care.hand import Hand
from followup.care.looks.eye_case import EyeCase
from followup.clinical.facts.eye_rules import apply_rules
from followup.clinical.protocol.reviews import GRADES, CellGrade
from followup.clinical.record import Findings
from followup.clinical.record.eye import followed_eyes
from followup.clinical.review.asks import to_ask
from followup.clinical.review.look import Look
from followup.clinical.review.now import raised_flags, senior
from followup.clinical.review.pressure import column, row

_REFRACTION = ("refraction", "best_corrected")
PressureStands = Literal["as it should be", "to watch", "to treat"]


@dataclass(frozen=True)
class CellsNow:
    """The cells last seen, on day ``on``, and the most that the protocol expects of that day.

    ``senior``: what that look saw asks for a senior the same day, however many cells are expected.
    """

    found: CellGrade
    expected: CellGrade
    on: date
    senior: bool

    @property
    def above(self) -> bool:
        return GRADES.index(self.found) > GRADES.index(self.expected)


@dataclass(frozen=True)
class PressureNow:
    """The pressure last measured in mmHg, on day ``on``; ``rise``: above the one before surgery.

    ``stands`` as the protocol's own table has it.
    """

    mmhg: float
    rise: float | None
    stands: PressureStands
    on: date


@dataclass(frozen=True)
class EyeNow:
    """``asked``: the findings that a look today is asked for; ``fitting``: what else belongs to this day, by
    what is due or was seen last. ``expected``: cells by day after surgery, as (from day, place in the SUN
    grades). ``before``: mmHg before surgery."""

    asked: tuple[str, ...] = ()
    fitting: tuple[str, ...] = ()
    cells: CellsNow | None = None
    pressure: PressureNow | None = None
    expected: tuple[tuple[int, int], ...] = ()
    before: float | None = None


def eye_now(hand: Hand, case: EyeCase) -> EyeNow:
    """How the eye stands by its last looks; nothing where no plan was ever made or the follow-up is over."""
    today = _look(hand, case, Findings(eye=case.eye, date=hand.today))
    if today is None:
        return EyeNow()
    rules = hand.protocol.review
    kind = "uveitic" if today.uveitic else "quiet"
    rows = sorted((r.from_day, GRADES.index(r.cells)) for r in rules.expected if r.eye == kind)
    return EyeNow(
        asked=to_ask(today, rules),
        fitting=tuple(_fitting(hand, case)),
        cells=_cells(hand, case, today),
        pressure=_pressure(hand, case, today),
        expected=tuple(rows),
        before=today.rules.context.history.pressure_before,
    )


def _fitting(hand: Hand, case: EyeCase) -> Iterator[str]:
    """Refraction with best vision where that check is due; the word on infection after a look in danger."""
    needs = case.in_force.body.needs if case.in_force else ()
    if any(
        (one.kind, one.eye, one.state) == (_REFRACTION[0], case.eye, "open") and one.earliest <= hand.today
        for one in needs
    ):
        yield from _REFRACTION
    if case.looks and _for_a_senior(hand, case, case.looks[0]):
        yield "infection_treated"


def _look(hand: Hand, case: EyeCase, findings: Findings) -> Look | None:
    """The look with the eye's facts on its day, beside the plan in force or the newest."""
    plan = case.in_force or case.newest
    mine = [one for one in followed_eyes(case.record, findings.date) if one.eye == case.eye]
    if plan is None or not mine:
        return None
    return Look(case.record, hand.protocol, findings, apply_rules(mine[0], hand.protocol), plan.body)


def _cells(hand: Hand, case: EyeCase, today: Look) -> CellsNow | None:
    for look in case.looks:
        if look.cells in GRADES and look.date >= today.rules.day0:
            day = (look.date - today.rules.day0).days
            expected = hand.protocol.review.expected_cells(today.uveitic, day)
            found = GRADES[GRADES.index(look.cells)]
            return CellsNow(found, expected, look.date, _for_a_senior(hand, case, look))
    return None


def _for_a_senior(hand: Hand, case: EyeCase, findings: Findings) -> bool:
    look, rules = _look(hand, case, findings), hand.protocol.review
    return look is not None and bool(senior(look, rules, raised_flags(look, rules)))


def _pressure(hand: Hand, case: EyeCase, today: Look) -> PressureNow | None:
    before = today.rules.context.history.pressure_before
    for look in case.looks:
        if isinstance(look.pressure, float) and look.date >= today.rules.day0:
            rise = None if before is None else look.pressure - before
            return PressureNow(look.pressure, rise, _stands(hand, case, look), look.date)
    return None


def _stands(hand: Hand, case: EyeCase, findings: Findings) -> PressureStands:
    look = _look(hand, case, findings)
    found = row(look, hand.protocol.review) if look else None
    if look is None or found is None:
        return "as it should be"
    cell = found.cell(column(look))
    return "to treat" if cell.treat or cell.today or cell.senior else "to watch"
