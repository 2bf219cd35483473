"""Pressure: the row and column that a measurement falls in, and what may be done about it."""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.careplan import Adjustment, Reason
from followup.clinical.contraindications import check_medicine
from followup.clinical.look import Look
from followup.clinical.proposal import Direction, Offer, Proposal, Refused
from followup.clinical.review_cells import shortest
from followup.clinical.review_rules import Cell, Column, PressureRow, ReviewRules, StepPair

_COLUMN_WORDS: dict[Column, str] = {
    "early": "days 0 to 6: viscoelastic rather than steroid",
    "quiet": "healthy nerve, no cells",
    "inflamed": "cells or uveitis: the steroid stays",
    "frail": "damaged nerve, only eye or vein occlusion",
}
EARLY_DAYS = 7


def column(look: Look) -> Column:
    """Days 0 to 6 the first; then, of those that fit, the rightmost; after the last steroid day the
    second unless the nerve is frail."""
    if look.day < EARLY_DAYS:
        return "early"
    if look.fact("glaucomatous") or look.fact("only_seeing") or look.fact("vein_occlusion"):
        return "frail"
    if look.steroid_over or not look.steroid:
        return "quiet"
    # Cells that were not seen may be there: the steroid is then not lowered for the pressure.
    return "inflamed" if look.uveitic or look.cells is None or look.cells > 0 else "quiet"


def row(look: Look, rules: ReviewRules) -> PressureRow | None:
    """The row that the pressure falls in; None where it asks for nothing or was not measured."""
    if look.pressure is None:
        return None
    return next((r for r in rules.pressure if r.holds(look.pressure) and _met(look, r)), None)


def _met(look: Look, found: PressureRow) -> bool:
    shallow = look.findings.chamber in ("shallow", "flat")
    tearing = look.findings.leak in ("slow", "fast")
    told = {"chamber shallow": shallow, "tearing": tearing}
    return not found.only_if or any(told[name] for name in found.only_if)


def response(look: Look, rules: ReviewRules) -> str:
    """Whether this rise may be called a steroid response: not before a week, and by two numbers."""
    s = rules.settings
    before = look.rules.context.history.pressure_before
    if look.pressure is None or look.pressure < s.response_pressure:
        return ""
    if look.day < s.response_from_day:
        return f"Before day {s.response_from_day} a rise is not called a steroid response."
    if not any(c.first_day and c.first_day <= look.findings.date for c in look.steroid):
        return ""
    if before is None:
        return "Pressure before surgery is not recorded: whether the eye responds to steroid can't be told."
    rise = look.pressure - before
    if rise >= s.response_rise:
        return f"Steroid response: {look.pressure:g} mmHg, {rise:g} more than before surgery."
    return ""


def is_response(look: Look, rules: ReviewRules) -> bool:
    return look.fact("responder") or response(look, rules).startswith("Steroid response")


def propose_for_pressure(look: Look, rules: ReviewRules) -> tuple[Proposal, ...]:
    """The proposals for the pressure, side by side where the surgeon picks."""
    found = row(look, rules)
    if found is None:
        return ()
    where = column(look)
    cell = found.cell(where)
    ways = list(_steroid_ways(look, rules, cell))
    ids = [f"pressure-{id_}" for id_, _, _, _ in ways]
    made = []
    for (_, words, direction, changes), id_ in zip(ways, ids, strict=True):
        offers, refused = _offers(look, rules) if cell.treat else ((), ())
        again = look.seen_again("pressure", cell.look, cell.text)
        made.append(
            Proposal(
                id=id_,
                eye=look.findings.eye,
                on=look.findings.date,
                about="pressure",
                title=f"{look.pressure:g} mmHg. {cell.text}{words}",
                direction=direction,
                adjustments=(*changes, again),
                offers=offers,
                not_offered=refused,
                alternative_to=tuple(other for other in ids if other != id_),
                today=cell.today,
                reasons=(_reason(found, where),),
            )
        )
    return tuple(made)


Way = tuple[str, str, Direction, tuple[Adjustment, ...]]


def _steroid_ways(look: Look, rules: ReviewRules, cell: Cell) -> Iterator[Way]:
    """The ways to treat the steroid. An eye with cells, or cells unseen, is never given less."""
    lowers = cell.steroid != "unchanged" and look.cells == 0 and look.remaining
    if lowers and cell.steroid == "stop-or-weaken" and is_response(look, rules):
        yield (
            "stop",
            " Stop the steroid.",
            "lower",
            look.steroid_edits((), "Pressure: the steroid is stopped."),
        )
        yield from _weaker(look)
    elif lowers and cell.steroid == "weaker-or-shorter":
        yield from _weaker(look)
        yield from _shorter(look, rules)
        if look.present_count == 0:
            yield "again", "", "none", ()
    else:
        yield "unchanged", "", "none", ()


def _weaker(look: Look) -> Iterator[Way]:
    weaker = look.protocol.usual_medicine("steroid_weaker")
    own = [c for c in look.steroid if not c.from_before and c.last_day and c.last_day >= look.tomorrow]
    if all(c.medicine == weaker.id for c in own):
        yield "unchanged", " The steroid is the weaker one already.", "none", ()
        return
    why = f"Pressure: from tomorrow {weaker.name} {weaker.strength} at the same counts."
    ended = tuple(look.edit(c.key, (), why) for c in own)
    yield "weaker", f" {why}", "lower", (*ended, look.added(weaker.id, _ahead(look), why))


def _shorter(look: Look, rules: ReviewRules) -> Iterator[Way]:
    steps = tuple(step for step in look.steps_ahead if step[0] < look.remaining[0])
    first = min((c.first_day for c in look.steroid if c.first_day), default=look.tomorrow)
    length = (look.tomorrow - first).days + sum(days for _, days in steps)
    floor = 0 if is_response(look, rules) else shortest(look, rules.settings)
    if steps and length >= floor:
        why = f"Pressure: from tomorrow {steps[0][0]} a day, one step sooner."
        yield "shorter", f" {why}", "lower", look.steroid_edits(steps, why)


def _ahead(look: Look) -> tuple[StepPair, ...]:
    steps: list[StepPair] = []
    for count in look.remaining:
        if steps and steps[-1][0] == count:
            steps[-1] = (count, steps[-1][1] + 1)
        elif count:
            steps.append((count, 1))
    return tuple(steps)


def _offers(look: Look, rules: ReviewRules) -> tuple[tuple[Offer, ...], tuple[Refused, ...]]:
    """Classes of pressure drops that may be added: not one in use, not one that is blocked."""
    in_use = {
        kind
        for c in look.plan.courses
        if c.eye in (None, look.findings.eye) and c.state != "stopped" and c.role == "pressure"
        for kind in look.protocol.formulary[c.medicine].kinds
    }
    offers, refused = [], []
    for rule in rules.offer:
        medicine = look.protocol.formulary[rule.medicine]
        found = check_medicine(
            look.record,
            medicine,
            look.findings.eye,
            new=True,
            days=rules.settings.pressure_drop_days,
            max_count=rule.count,
            cautions=look.protocol.cautions,
            as_of=look.findings.date,
        )
        against = [f for f in found if f.level == "stop" or (f.holds and not f.answered)]
        if rule.kind in in_use:
            refused.append(Refused(kind=rule.kind, why="this class is in use already"))
        elif against:
            refused.append(Refused(kind=rule.kind, why=against[0].text))
        else:
            texts = tuple(f.text for f in found if f.level != "note")
            offers.append(Offer(kind=rule.kind, medicine=medicine.id, count=rule.count, cautions=texts))
    return tuple(offers), tuple(refused)


def _reason(found: PressureRow, where: Column) -> Reason:
    return Reason(
        rule=f"pressure-{found.id}",
        because=f"{found.cell(where).text} ({_COLUMN_WORDS[where]})",
        source="common practice, no source; over 30: Wills Eye Manual, 8th edition (S)",
        mark="C",
    )
