"""Pressure: the row and column that a measurement falls in, and what may be done about it."""

from __future__ import annotations

from collections.abc import Iterator

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import Reason
from followup.clinical.english import joined, window_words
from followup.clinical.protocol.formulary import Medicine
from followup.clinical.protocol.reviews import GRADES, Cell, Column, PressureRow, ReviewRules, ReviewSettings
from followup.clinical.review.cells import days_short
from followup.clinical.review.day_counts import pairs
from followup.clinical.review.look import Look
from followup.clinical.review.proposal import Offer, Proposal, Refused, TaperMove
from followup.said import fill, say

# Answers to a caution about a course that there is not yet.
_NO_FACT = (".answers", ".products", ".continues")
_COLUMN_WORDS: dict[Column, str] = {
    "early": "the first days: viscoelastic rather than steroid",
    "quiet": "healthy nerve, no cells",
    "inflamed": "cells or uveitis: the steroid stays",
    "frail": "damaged nerve, only eye or vein occlusion",
}


def column(look: Look) -> Column:
    """In the first days the first; then, of those that fit, the rightmost; after the last steroid day the
    second unless the nerve is frail."""
    if look.day <= look.protocol.review.settings.early_until_day:
        return "early"
    if look.fact("glaucomatous") or look.fact("only_seeing") or look.fact("vein_occlusion"):
        return "frail"
    if look.steroid_over:
        return "quiet"
    return "inflamed" if _inflamed(look) else "quiet"


def _inflamed(look: Look) -> bool:
    # Cells that were not seen may be there: the steroid is then not lowered for the pressure.
    least = GRADES.index(look.protocol.review.settings.inflamed_cells)
    return look.uveitic or look.cells is None or look.cells >= least


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
    if look.pressure is None or look.pressure < s.response.pressure:
        return ""
    if look.day < s.response_from_day:
        return say(
            "Before day {response_from_day} a rise is not called a steroid response.",
            response_from_day=s.response_from_day,
        )
    if not _on_steroid(look):
        return ""
    if look.rules.context.history.pressure_before is None:
        return say(
            "Pressure before surgery is not recorded: whether the eye responds to steroid can't be told."
        )
    rise = response_rise(look, s)
    if rise is None:
        return ""
    named = say(
        "Steroid response: {pressure} mmHg, {rise} more than before surgery.",
        pressure=format(look.pressure, "g"),
        rise=format(rise, "g"),
    )
    if look.fact("responder"):
        return joined((named, *_in_bands(look, s)))
    written = say("Write it into the record: the eye rises on steroid.")
    return joined((named, written, *_in_bands(look, s)))


def response_rise(look: Look, s: ReviewSettings) -> float | None:
    """By how many mmHg the pressure has risen where that makes it a steroid response, else None."""
    before = look.rules.context.history.pressure_before
    if look.pressure is None or before is None or not _on_steroid(look):
        return None
    rise = look.pressure - before
    if look.day < s.response_from_day or look.pressure < s.response.pressure:
        return None
    if rise < s.response.rise:
        return None
    return rise


def _on_steroid(look: Look) -> bool:
    begun = any(c.first_day and c.first_day <= look.findings.date for c in look.steroid)
    return begun or look.fact("depot_left")


def _in_bands(look: Look, s: ReviewSettings) -> Iterator[str]:
    """Where the pressure lies among the responders to the six-week test, in an eye that had the test."""
    tested = [c for c in look.steroid if c.medicine == s.six_weeks.medicine]
    days = sum(
        min(step.days, (look.findings.date - step.start).days)
        for c in tested
        for step in c.steps
        if step.count >= s.six_weeks.count and step.start < look.findings.date
    )
    if look.pressure is not None and days >= s.six_weeks.days:
        yield say("By the six-week test: {band} responder.", band=band(look.pressure, s))


def band(pressure: float, s: ReviewSettings) -> str:
    """Low, middle or high responder: under the first limit, up to the second, over it."""
    low, high = s.six_weeks.bands
    return "low" if pressure < low else "middle" if pressure <= high else "high"


def is_response(look: Look, rules: ReviewRules) -> bool:
    return look.fact("responder") or response_rise(look, rules.settings) is not None


def propose_for_pressure(look: Look, rules: ReviewRules) -> tuple[Proposal, ...]:
    """The proposals for the pressure, side by side where the surgeon picks."""
    found = row(look, rules)
    if found is None:
        return ()
    where = column(look)
    cell = found.cell(where)
    ways: list[Way] = []
    for way in _steroid_ways(look, rules, cell):
        ways += [way] if way[0] not in [other[0] for other in ways] else []
    offers, refused = offered(look, rules) if cell.treat else ((), ())
    nothing: tuple[str, ...] = ()
    if cell.treat and not offers:
        nothing = (
            say(
                "{pressure} mmHg needs treatment, and none of the list may be given here: choose the "
                "product and its dose outside this list.",
                pressure=format(look.pressure, "g"),
            ),
        )
    ids = [f"pressure-{id_}" for id_, _, _, _ in ways]
    made = []
    for (_, words, direction, changes), id_ in zip(ways, ids, strict=True):
        left_alone = cell.steroid == "weaker-or-shorter" and direction == "none"
        text = words_of(cell, bool(look.remaining) and not left_alone)
        again = look.seen_again("pressure", cell.look, text)
        made.append(
            Proposal(
                id=id_,
                eye=look.findings.eye,
                on=look.findings.date,
                about="pressure",
                title=joined((f"{look.pressure:g} mmHg.", text, *((words,) if words else ()))),
                direction=direction,
                adjustments=(*changes, *again),
                offers=offers,
                not_offered=refused,
                alternative_to=tuple(other for other in ids if other != id_),
                today=cell.today,
                senior=cell.senior,
                treats=cell.treat,
                cautions=nothing,
                reasons=(_reason(look, found, where),),
            )
        )
    return tuple(made)


Way = tuple[str, str, TaperMove, tuple[Adjustment, ...]]


def _steroid_ways(look: Look, rules: ReviewRules, cell: Cell) -> Iterator[Way]:
    """The ways to treat the steroid. An eye with cells, or cells unseen, is never given less."""
    lowers = cell.steroid != "unchanged" and look.cells == 0 and look.remaining
    if lowers and cell.steroid == "stop-or-weaken" and is_response(look, rules):
        why = say("Pressure: the steroid is stopped.")
        yield "stop", say("Stop the steroid."), "lower", look.lowered((), why)
        yield from _weaker(look)
    elif lowers and cell.steroid == "weaker-or-shorter":
        yield from _weaker(look)
        yield from _shorter(look, rules)
        yield "unchanged", say("The steroid stays as it is ordered."), "none", ()
    else:
        yield "unchanged", "", "none", ()


def _weaker(look: Look) -> Iterator[Way]:
    """The weaker steroid at the same counts from tomorrow on."""
    usual = look.protocol.usual_medicine("steroid_weaker")
    weaker = usual if not look.against(usual) else look.instead_of(usual)
    if weaker is None:
        yield "unchanged", say("Something speaks against every weaker steroid."), "none", ()
        return
    due = [c for c in look.own if look.still_due(c)]
    stronger = [c for c in due if look.potency(c.medicine) > look.potency(weaker.id)]
    if not stronger:
        yield "unchanged", say("The steroid is the weaker one already."), "none", ()
        return
    why = say(
        "Pressure: from tomorrow {weaker} {strength} at the same counts.",
        weaker=weaker.name,
        strength=weaker.strength,
    )
    ended = tuple(look.edit(c.key, (), why) for c in due)
    yield "weaker", why, "lower", (*ended, look.added(weaker.id, pairs(look.remaining), why))


def _shorter(look: Look, rules: ReviewRules) -> Iterator[Way]:
    """The next step from tomorrow on, where the course does not become too short by it."""
    steps = tuple(step for step in look.later_steps if step[0] < look.remaining[0])
    if steps and (is_response(look, rules) or days_short(look, rules.settings, steps) <= 0):
        why = say("Pressure: from tomorrow {steps} a day, one step sooner.", steps=steps[0][0])
        yield "shorter", why, "lower", look.lowered(steps, why)


def words_of(cell: Cell, steroid: bool) -> str:
    """What the table says, with the days of its look."""
    text = cell.without_steroid if cell.without_steroid and not steroid else cell.text
    return fill(text, again=window_words(cell.look, cell.hours))


def offered(look: Look, rules: ReviewRules) -> tuple[tuple[Offer, ...], tuple[Refused, ...]]:
    """Classes of pressure medicines that may be added: not one in use, not one that is blocked; tablets
    over their own pressure, or where no drop is left."""
    in_use = {
        kind
        for c in look.plan.courses
        if c.eye in (None, look.findings.eye) and c.state != "stopped" and c.role == "pressure"
        for kind in look.protocol.formulary[c.medicine].kinds
    }
    unnamed = _unnamed(look)
    offers: list[Offer] = []
    refused: list[Refused] = []
    for rule in sorted(rules.offer, key=lambda rule: rule.over is not None):
        if rule.over is not None and offers and (look.pressure or 0) <= rule.over:
            continue
        medicine = look.protocol.formulary[rule.medicine]
        found = look.check(medicine, rules.settings.pressure_drop_days, rule.count)
        against = [f for f in found if f.level == "stop" or (f.holds and not f.answered)]
        if rule.kind in in_use:
            refused.append(Refused(kind=rule.kind, why=say("this class is in use already")))
        elif unnamed:
            why = f'"{unnamed[0]}" is in use and not named: it may be of this class'
            refused.append(Refused(kind=rule.kind, why=why))
        elif against:
            # What is known to be so is no question: only what the record leaves open is asked.
            unknown = (f for f in against if f.told != "yes")
            asked = (path for f in unknown for path in f.answer_fields if not path.endswith(_NO_FACT))
            fields = tuple(dict.fromkeys(asked))
            refused.append(Refused(kind=rule.kind, why=against[0].text, fields=fields))
        else:
            texts = tuple(f.text for f in found if f.level != "note")
            offers.append(
                Offer(
                    kind=rule.kind,
                    medicine=medicine.id,
                    count=rule.count,
                    name=_name(medicine, rule.count),
                    by_mouth=medicine.route == "mouth",
                    last_look=rules.settings.pressure_drop_last_look,
                    cautions=texts,
                )
            )
    # Drop and tablet of one class are refused for one reason, and it is told once.
    return tuple(offers), tuple(dict.fromkeys(refused))


def _name(medicine: Medicine, count: int) -> str:
    """Such as "Dorzolamide 2%, 3 times a day"; a tablet with its mg a day."""
    times = say("once a day") if count == 1 else say("{count} times a day", count=count)
    if medicine.tablet_mg is None:
        return joined((medicine.label, times), ", ")
    one = say("1 tablet") if medicine.form == "tablet" else say("1 capsule")
    return say(
        "{medicine} by mouth: {one} {times}, {mg} mg a day in all",
        medicine=joined((medicine.name, medicine.strength)),
        one=one,
        times=times,
        mg=format(count * medicine.tablet_mg, "g"),
    )


def _unnamed(look: Look) -> list[str]:
    """Drops for this eye from before whose name, and so whose class, is not known."""
    return [
        entry.described or ""
        for entry in look.record.in_use
        if entry.medicine is None and entry.continues and entry.eye in (look.findings.eye, "both")
    ]


def _reason(look: Look, found: PressureRow, where: Column) -> Reason:
    why = say(
        "{pressure} mmHg on day {day} ({where}).",
        pressure=format(look.pressure, "g"),
        day=look.day,
        where=_COLUMN_WORDS[where],
    )
    # What a column says explains a pressure that is high; a low one has other causes.
    if (look.pressure or 0) < look.protocol.review.settings.response.pressure:
        why = say("{pressure} mmHg on day {day}.", pressure=format(look.pressure, "g"), day=look.day)
    return Reason(
        rule=f"pressure-{found.id}",
        because=f"{why} {found.because}",
        source=found.source,
        mark=found.mark,
    )
