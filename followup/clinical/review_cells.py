"""Cells: what the inflammation of an eye means for its steroid."""

from __future__ import annotations

from datetime import timedelta

from followup.clinical.careplan import Adjustment, Caution, Reason
from followup.clinical.look import Look
from followup.clinical.proposal import Direction, Proposal
from followup.clinical.review_rules import GRADES, Cells, ReviewRules, Settings, StepPair

HOURLY = 16


def expected_grade(look: Look, rules: ReviewRules) -> int:
    return GRADES.index(rules.expected_cells(look.uveitic, look.day))


def severe(look: Look, rules: ReviewRules) -> Caution | None:
    """Cells that ask for a senior the same day: 3+ from day 2, or a rise at the hourly count."""
    s = rules.settings
    if look.cells is None:
        return None
    if look.cells >= _grade(s.senior_cells) and look.day >= s.senior_cells_from_day:
        return _caution(
            look, s, "cells-3", f"Cells {GRADES[look.cells]} on day {look.day}: same-day senior review."
        )
    if rises(look, s) and look.present_count >= HOURLY:
        text = f"Cells {GRADES[look.cells]} on {look.present_count} drops a day: same-day senior review."
        return _caution(look, s, "cells-at-hourly", text)
    return None


def rises(look: Look, s: Settings) -> bool:
    """From the fifth day: the grade that asks for more steroid, or two steps up since last time."""
    if look.cells is None or look.day < s.rise_from_day:
        return False
    before = look.cells_before
    return look.cells >= _grade(s.rise_cells) or (before is not None and look.cells - before >= 2)


def propose_for_cells(look: Look, rules: ReviewRules, may_raise: bool) -> tuple[Proposal, ...]:
    """The proposals for the steroid. Unseen cells give none; an eye with cells is never given less
    unless it is better."""
    s = rules.settings
    if look.cells is None:
        return ()
    if may_raise and (raised := _raise(look, s)) is not None:
        return (raised,)
    before, expected = look.cells_before, expected_grade(look, rules)
    if look.cells > expected and look.present_count and may_raise:
        worse = before is not None and look.cells > before
        return (_step_back(look, s) if worse else _hold(look, s, expected),)
    if before is not None and look.cells == before + 1 and look.present_count and may_raise:
        return (_step_back(look, s),)
    go_on = _proposal(look, s, "go-on", "Cells are as expected or fewer: go on with the taper.", "none", ())
    return (go_on, *_shorten(look, s, go_on.id))


def persistent(look: Look, rules: ReviewRules) -> Caution | None:
    """Cells that stay past their time: something keeps the eye inflamed."""
    s = rules.settings
    limit = s.persistent_after_quiet
    if look.uveitic:
        limit = s.persistent_after_uveitic
    elif look.fact("event"):
        limit = s.persistent_after_event
    if look.cells is None or look.cells < 1 or look.day <= limit:
        return None
    text = (
        f"Cells {GRADES[look.cells]} on day {look.day}: look for lens material, a lens that rubs, iris in "
        "the wound, slow infection. Senior review."
    )
    return _caution(look, s, "persistent", text)


def _raise(look: Look, s: Settings) -> Proposal | None:
    count = look.present_count
    if _rebound(look, s):
        steps = s.rebound_steps
        title = f"Inflammation has come back: {steps[0][0]} a day, then down slowly."
        return _more(look, s, "rebound", title, steps)
    dropless = not look.steroid
    rescue = dropless and look.cells is not None and look.cells >= _grade(s.rescue_cells)
    if not rescue and not rises(look, s):
        return None
    later = _later(look, s)
    raised = ((s.least_count, s.least_days),) if count < s.least_count else s.hourly_then
    steps = (*raised, *later)
    id_ = "rescue" if rescue else "raise"
    title = f"Raise the steroid from {count} to {steps[0][0]} a day, then down again; see in 2 to 4 days."
    return _more(look, s, id_, title, steps)


def _rebound(look: Look, s: Settings) -> bool:
    """1+ or more within 90 days after the taper, or during it in an eye that had been quiet."""
    last = look.last_steroid_day
    if last is None or look.cells is None or look.cells < _grade(s.rebound_cells):
        return False
    if look.steroid_over:
        return look.findings.date <= last + timedelta(days=s.rebound_days)
    return look.cells_before == 0 and not rises(look, s) and look.present_count < s.least_count


def _later(look: Look, s: Settings) -> tuple[StepPair, ...]:
    """After the raised count: the lower steps of the uveitic taper, or of the event taper."""
    taper = look.protocol.tapers[s.later_steps_uveitic if look.uveitic else s.later_steps_other]
    steps = ((step.count, step.days) for step in taper.steps)
    return tuple((c, d) for c, d in steps if isinstance(c, int) and c < s.least_count)


def _more(look: Look, s: Settings, id_: str, title: str, steps: tuple[StepPair, ...]) -> Proposal:
    changes: tuple[Adjustment, ...] = look.steroid_edits(look.never_less(steps), title)
    again = look.seen_again("inflammation", s.see_again, title)
    return _proposal(look, s, id_, title, "raise", (*changes, again))


def _hold(look: Look, s: Settings, expected: int) -> Proposal:
    steps = ((look.present_count, s.step_back_days), *look.steps_ahead[1:])
    grade, most = GRADES[look.cells or 0], GRADES[expected]
    held = f"hold {look.present_count} a day for {s.step_back_days} days"
    title = f"Cells {grade}, at most {most} expected: {held}."
    return _proposal(look, s, "hold", title, "hold", look.steroid_edits(look.never_less(steps), title))


def _step_back(look: Look, s: Settings) -> Proposal:
    back = max(look.step_before or 0, look.present_count + 1)
    back = min(back, HOURLY)
    steps = ((back, s.step_back_days), *look.steps_ahead)
    title = f"One step worse: back to {back} a day for {s.step_back_days} days, then the later steps whole."
    return _proposal(look, s, "step-back", title, "raise", look.steroid_edits(look.never_less(steps), title))


def _shorten(look: Look, s: Settings, go_on: str) -> tuple[Proposal, ...]:
    """Quiet at this look and the last: the later steps may be a week each, down to the shortest course."""
    if look.cells != 0 or look.cells_before != 0 or look.steroid_over or not look.present_count:
        return ()
    if look.uveitic and not look.fact("quiet_90"):
        return ()
    steps = _shorter(look, s)
    if steps is None:
        return ()
    title = f"Quiet twice: the later steps may be {s.shorter_step_days} days each."
    short = _proposal(look, s, "shorten", title, "lower", look.steroid_edits(steps, title))
    return (short.model_copy(update={"alternative_to": (go_on,)}),)


def _shorter(look: Look, s: Settings) -> tuple[StepPair, ...] | None:
    """The steps ahead cut to a week each, the last stretched so that the course keeps its shortest length."""
    present, *later = look.steps_ahead
    left = sum(count == present[0] for count in look.remaining)
    steps = [(present[0], left)] if left else []
    steps += [(count, min(days, s.shorter_step_days)) for count, days in later]
    if not steps:
        return None
    first = min((c.first_day for c in look.steroid if c.first_day), default=look.tomorrow)
    missing = shortest(look, s) - (look.tomorrow - first).days - sum(days for _, days in steps)
    if missing > 0:
        steps[-1] = (steps[-1][0], steps[-1][1] + missing)
    return tuple(steps) if sum(d for _, d in steps) < len(look.remaining) else None


def shortest(look: Look, s: Settings) -> int:
    """The fewest days of steroid: none in a responder without cells."""
    if look.fact("responder") and look.cells == 0:
        return 0
    if look.uveitic:
        return s.shortest_uveitic
    return s.shortest_event if look.fact("event") else s.shortest_quiet


def _grade(cells: Cells) -> int:
    return GRADES.index(cells)


def _reason(s: Settings, rule: str) -> Reason:
    return Reason(rule=rule, because=s.because, source=s.source, mark=s.mark)


def _caution(look: Look, s: Settings, id_: str, text: str) -> Caution:
    reasons = (_reason(s, id_),)
    return Caution(id=id_, text=text, eye=look.findings.eye, level="stop", reasons=reasons)


def _proposal(
    look: Look, s: Settings, id_: str, title: str, direction: Direction, changes: tuple[Adjustment, ...]
) -> Proposal:
    return Proposal(
        id=id_,
        eye=look.findings.eye,
        on=look.findings.date,
        about="inflammation",
        title=title,
        direction=direction,
        adjustments=changes,
        reasons=(_reason(s, id_),),
    )
