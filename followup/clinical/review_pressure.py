"""Pressure: the row and column that a measurement falls in, and what may be done about it."""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.careplan import Adjustment, Reason
from followup.clinical.contraindications import check_medicine
from followup.clinical.look import Look, pairs
from followup.clinical.proposal import Direction, Offer, Proposal, Refused
from followup.clinical.review_cells import days_short
from followup.clinical.review_rules import Cell, Column, PressureRow, ReviewRules, Settings

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
    if look.steroid_over:
        return "quiet"
    return "inflamed" if _inflamed(look) else "quiet"


def _inflamed(look: Look) -> bool:
    # Cells that were not seen may be there: the steroid is then not lowered for the pressure.
    return look.uveitic or look.cells is None or look.cells > 0


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
    if not _on_steroid(look):
        return ""
    if before is None:
        return "Pressure before surgery is not recorded: whether the eye responds to steroid can't be told."
    rise = look.pressure - before
    if rise < s.response_rise:
        return ""
    named = f"Steroid response: {look.pressure:g} mmHg, {rise:g} more than before surgery."
    return f"{named} Write it into the record: the eye rises on steroid.{_in_bands(look, s)}"


def _on_steroid(look: Look) -> bool:
    begun = any(c.first_day and c.first_day <= look.findings.date for c in look.steroid)
    return begun or look.fact("depot_left")


def _in_bands(look: Look, s: Settings) -> str:
    """Where the pressure lies among the responders to the six-week test, in an eye that had the test."""
    tested = [c for c in look.steroid if c.medicine == s.test_medicine]
    days = sum(
        min(step.days, (look.findings.date - step.start).days)
        for c in tested
        for step in c.steps
        if step.count >= s.test_count and step.start < look.findings.date
    )
    if look.pressure is None or days < s.test_days:
        return ""
    return f" By the six-week test: {band(look.pressure, s)} responder."


def band(pressure: float, s: Settings) -> str:
    """Low, middle or high responder: under the first limit, up to the second, over it."""
    low, high = s.test_bands
    return "low" if pressure < low else "middle" if pressure <= high else "high"


def is_response(look: Look, rules: ReviewRules) -> bool:
    return look.fact("responder") or response(look, rules).startswith("Steroid response")


def propose_for_pressure(look: Look, rules: ReviewRules) -> tuple[Proposal, ...]:
    """The proposals for the pressure, side by side where the surgeon picks."""
    found = row(look, rules)
    if found is None:
        return ()
    where = column(look)
    cell = found.cell(where)
    text = cell.without_steroid if cell.without_steroid and not look.remaining else cell.text
    ways = list(_steroid_ways(look, rules, cell))
    ids = [f"pressure-{id_}" for id_, _, _, _ in ways]
    made = []
    for (_, words, direction, changes), id_ in zip(ways, ids, strict=True):
        offers, refused = _offers(look, rules) if cell.treat else ((), ())
        again = look.seen_again("pressure", cell.look, text)
        made.append(
            Proposal(
                id=id_,
                eye=look.findings.eye,
                on=look.findings.date,
                about="pressure",
                title=f"{look.pressure:g} mmHg. {text}{words}",
                direction=direction,
                adjustments=(*changes, *again),
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
        why = "Pressure: the steroid is stopped."
        yield "stop", " Stop the steroid.", "lower", look.lowered((), why)
        yield from _weaker(look)
    elif lowers and cell.steroid == "weaker-or-shorter":
        yield from _weaker(look)
        yield from _shorter(look, rules)
    else:
        yield "unchanged", "", "none", ()


def _weaker(look: Look) -> Iterator[Way]:
    """The weaker steroid at the same counts from tomorrow on."""
    weaker = look.protocol.usual_medicine("steroid_weaker")
    due = [c for c in look.own if look.still_due(c)]
    stronger = [c for c in due if look.potency(c.medicine) > look.potency(weaker.id)]
    if not stronger:
        yield "unchanged", " The steroid is the weaker one already.", "none", ()
        return
    why = f"Pressure: from tomorrow {weaker.name} {weaker.strength} at the same counts."
    ended = tuple(look.edit(c.key, (), why) for c in due)
    yield "weaker", f" {why}", "lower", (*ended, look.added(weaker.id, pairs(look.remaining), why))


def _shorter(look: Look, rules: ReviewRules) -> Iterator[Way]:
    """The next step from tomorrow on, where the course does not become too short by it."""
    steps = tuple(step for step in look.later_steps if step[0] < look.remaining[0])
    if steps and (is_response(look, rules) or days_short(look, rules.settings, steps) <= 0):
        why = f"Pressure: from tomorrow {steps[0][0]} a day, one step sooner."
        yield "shorter", f" {why}", "lower", look.lowered(steps, why)


def _offers(look: Look, rules: ReviewRules) -> tuple[tuple[Offer, ...], tuple[Refused, ...]]:
    """Classes of pressure drops that may be added: not one in use, not one that is blocked."""
    in_use = {
        kind
        for c in look.plan.courses
        if c.eye in (None, look.findings.eye) and c.state != "stopped" and c.role == "pressure"
        for kind in look.protocol.formulary[c.medicine].kinds
    }
    unnamed = _unnamed(look)
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
        elif unnamed:
            why = f'"{unnamed[0]}" is in use and not named: it may be of this class'
            refused.append(Refused(kind=rule.kind, why=why))
        elif against:
            refused.append(Refused(kind=rule.kind, why=against[0].text))
        else:
            texts = tuple(f.text for f in found if f.level != "note")
            offers.append(Offer(kind=rule.kind, medicine=medicine.id, count=rule.count, cautions=texts))
    return tuple(offers), tuple(refused)


def _unnamed(look: Look) -> list[str]:
    """Drops for this eye from before whose name, and so whose class, is not known."""
    return [
        entry.described or ""
        for entry in look.record.in_use
        if entry.medicine is None and entry.continues and entry.eye in (look.findings.eye, "both")
    ]


def _reason(found: PressureRow, where: Column) -> Reason:
    return Reason(
        rule=f"pressure-{found.id}",
        because=f"{found.cell(where).text} ({_COLUMN_WORDS[where]})",
        source="common practice, no source; over 30: Wills Eye Manual, 8th edition (S)",
        mark="C",
    )
