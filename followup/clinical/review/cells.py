"""Cells: what the inflammation of an eye means for its steroid."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import Caution, Reason
from followup.clinical.english import steps_words, window_words
from followup.clinical.protocol.reviews import GRADES, CellGrade, ReviewRules, ReviewSettings, StepPair
from followup.clinical.review.cells_seen import cells_seen
from followup.clinical.review.look import Look
from followup.clinical.review.proposal import Proposal, TaperMove
from followup.said import say

_GONE = {"stopped": "The drops were stopped", "run out": "The drops ran out", "lost": "The drops were lost"}


def expected_grade(look: Look, rules: ReviewRules) -> int:
    return GRADES.index(rules.expected_cells(look.uveitic, look.day))


def severe(look: Look, rules: ReviewRules) -> Caution | None:
    """Cells that ask for a senior the same day: so many on that day, or a rise at the hourly count."""
    s = rules.settings
    if look.cells is None:
        return None
    soon = look.cells >= _grade(s.senior_cells) and look.day >= s.senior_cells_from_day
    if soon or look.cells >= _grade(s.senior_cells_any_day):
        text = say(
            "Cells {cells} on day {day}: same-day senior review.", cells=GRADES[look.cells], day=look.day
        )
        return _caution(look, s, "cells-3", text)
    if rises(look, s) and look.taken_count >= look.hourly:
        text = say(
            "Cells {cells} on {taken_count} drops a day: same-day senior review.",
            cells=GRADES[look.cells],
            taken_count=look.taken_count,
        )
        return _caution(look, s, "cells-at-hourly", text)
    return None


def rises(look: Look, s: ReviewSettings) -> bool:
    """From the fifth day: the grade that asks for more steroid, or two steps up since last time."""
    if look.cells is None or look.day < s.rise_from_day:
        return False
    before = look.cells_before
    return look.cells >= _grade(s.rise_cells) or (before is not None and look.cells - before >= s.rise_steps)


def propose_for_cells(look: Look, rules: ReviewRules, forbidden: str) -> tuple[Proposal, ...]:
    """The proposals for the steroid. Unseen cells give none; an eye with cells is never given less.

    ``forbidden``: what forbids more steroid at this look ("the wound leaks"); "" where nothing does.
    """
    s = rules.settings
    if look.untaken and look.present_count:
        return _again(look, s, forbidden)
    if look.cells is None:
        return _swapped(look, s)
    raised = _raise(look, s)
    if raised is not None:
        return (_not_raised(look, s, forbidden),) if forbidden else (raised,)
    before, expected = look.cells_before, expected_grade(look, rules)
    worse = before is not None and look.cells > before
    if look.cells > expected and not look.own_count:
        return (_watch(look, s, expected),)
    if worse and look.own_count and not forbidden:
        return _worse(look, s, expected)
    if look.cells > expected:
        return (_hold(look, s, expected),)
    go_on = _go_on(look, s, expected)
    return (go_on, *_shorten(look, s, go_on.id))


def persistent(look: Look, rules: ReviewRules) -> Caution | None:
    """Cells that stay past their time: something keeps the eye inflamed."""
    s = rules.settings
    limit = s.persistent_after_quiet
    if look.uveitic:
        limit = s.persistent_after_uveitic
    elif look.fact("event"):
        limit = s.persistent_after_event
    if not _reaches(look, s.persistent_cells) or look.day <= limit:
        return None
    text = say(
        "Cells {cells} on day {day}: look for lens material, a lens that rubs, iris in the wound, "
        "slow infection. Senior review.",
        cells=GRADES[look.cells or 0],
        day=look.day,
    )
    return _caution(look, s, "persistent", text)


def _again(look: Look, s: ReviewSettings, forbidden: str) -> tuple[Proposal, ...]:
    """Drops that were not taken are started again before anything is said of the cells."""
    gone = _GONE[look.findings.drops_taken or "stopped"]
    steps = look.steps_ahead
    if not steps:
        # The steroid from before the operation alone: it has no end, and no steps to change.
        title = say(
            "{gone}: start again today what was ordered; seen again {see_again}.",
            gone=gone,
            see_again=window_words(s.see_again),
        )
    else:
        title = say(
            "{gone}: start again today what was ordered, {steps}; seen again {see_again}.",
            gone=gone,
            steps=steps_words(steps),
            see_again=window_words(s.see_again),
        )
    looks = look.seen_again("inflammation", s.see_again, title)
    restart = _proposal(look, s, "restart", title, "keep", (*look.restarted(title), *looks))
    restart = restart.model_copy(update={"today": True})
    raised = None if look.cells is None or forbidden else _raise(look, s)
    if raised is None or _tomorrow(raised) <= look.own_count:
        return (restart,)
    return (
        restart.model_copy(update={"alternative_to": (raised.id,)}),
        raised.model_copy(update={"alternative_to": (restart.id,)}),
    )


def _tomorrow(proposal: Proposal) -> int:
    """The most drops a day that a proposal gives of one steroid in its first step."""
    return max((a.steps[0][0] for a in proposal.adjustments if a.kind != "look" and a.steps), default=0)


def _raise(look: Look, s: ReviewSettings) -> Proposal | None:
    """More steroid at once: a rescue without drops, a rebound, or a rise."""
    rescue = look.fact("dropless") and not look.own and _reaches(look, s.rescue_cells)
    rebound = _rebound(look, s)
    if not (rescue or rebound or rises(look, s)):
        return None
    first = ((s.least_count, s.least_days),) if look.taken_count < s.least_count else s.hourly_then
    later = s.rebound_steps[1:] if rebound else _later(look, s)
    steps, again = (*first, *later), window_words(s.see_again)
    if rescue:
        title = say(
            "The rescue path: {steps} drops of steroid a day at once, then down; see {again}.",
            steps=steps[0][0],
            again=again,
        )
        return _rescue(look, s, title, look.capped(steps))
    changes = look.raised(steps, "")
    top = max((a.steps[0][0] for a in changes if a.steps), default=look.own_count)
    if rebound:
        title = say(
            "Inflammation has come back: {top} a day, then down slowly; see {again}.", top=top, again=again
        )
    else:
        title = say(
            "Raise the steroid from {own_count} to {top} a day, then down again; see {again}.",
            own_count=look.own_count,
            top=top,
            again=again,
        )
    changes = look.raised(steps, title)
    looks = look.seen_again("inflammation", s.see_again, title)
    return _proposal(look, s, "rebound" if rebound else "raise", title, "raise", (*changes, *looks))


def _rescue(look: Look, s: ReviewSettings, title: str, steps: tuple[StepPair, ...]) -> Proposal:
    """An eye without drops: the steroid begins on the day of the look itself."""
    added = look.added(look.fitting("steroid").id, steps, title, look.findings.date)
    again = look.seen_again("inflammation", s.see_again, title)
    made = _proposal(look, s, "rescue", title, "raise", (added, *again))
    return made.model_copy(update={"today": True})


def _rebound(look: Look, s: ReviewSettings) -> bool:
    """1+ or more after the taper's end or on its way down.

    A uveitic eye needs no quiet look before; while its taper runs it is a rebound only from a day on,
    because before that day the table of expected cells decides. Any other eye had to be quiet.
    """
    last = look.last_steroid_day
    if last is None or look.day < s.rise_from_day or not _reaches(look, s.rebound_cells):
        return False
    if look.steroid_over:
        return look.findings.date <= last + timedelta(days=s.rebound_days)
    if look.uveitic:
        return look.day >= s.rebound_uveitic_from_day and look.own_count > 0
    top = max((step.count for step in look.steps), default=0)
    return 0 in look.grades_before and 0 < look.own_count < top


def _later(look: Look, s: ReviewSettings) -> tuple[StepPair, ...]:
    """After the raised count: the lower steps of the uveitic taper, or of the event taper."""
    taper = look.protocol.tapers[s.later_steps_uveitic if look.uveitic else s.later_steps_other]
    steps = ((step.count, step.days) for step in taper.steps)
    return tuple((c, d) for c, d in steps if isinstance(c, int) and c < s.least_count)


def _not_raised(look: Look, s: ReviewSettings, forbidden: str) -> Proposal:
    """Cells that ask for more in an eye that must not have more: the steroid stays, a senior decides."""
    steps = ((look.own_count, s.step_back_days), *look.later_steps) if look.own_count else ()
    grade = GRADES[look.cells or 0]
    if look.own_count:
        title = say(
            "Cells {grade} would ask for more steroid, but {forbidden}: it is not raised; {own_count} "
            "a day stay for {step_back_days} days. Ask a senior today.",
            grade=grade,
            forbidden=forbidden,
            own_count=look.own_count,
            step_back_days=s.step_back_days,
        )
    else:
        title = say(
            "Cells {grade} would ask for steroid, but {forbidden}: none is started. Ask a senior today.",
            grade=grade,
            forbidden=forbidden,
        )
    made = _proposal(look, s, "not-raised", title, "hold", look.kept(steps, title))
    return made.model_copy(update={"today": True})


def _watch(look: Look, s: ReviewSettings, expected: int) -> Proposal:
    """Over what is expected while the plan gives no steroid, and too little for more: seen again soon."""
    grade, most, again = GRADES[look.cells or 0], GRADES[expected], window_words(s.see_again)
    if look.present_count:
        title = say(
            "Cells {grade}, at most {most} expected, on the steroid from before alone: see again {again}.",
            grade=grade,
            most=most,
            again=again,
        )
    else:
        title = say(
            "Cells {grade}, at most {most} expected, and no steroid is given: see again {again}.",
            grade=grade,
            most=most,
            again=again,
        )
    looks = look.seen_again("inflammation", s.see_again, title)
    return _proposal(look, s, "watch", title, "none", tuple(looks))


def _worse(look: Look, s: ReviewSettings, expected: int) -> tuple[Proposal, ...]:
    """Worse by a step: back a count. Where the cells are still within what is expected, going on is the
    other way, and the surgeon picks."""
    back = _step_back(look, s)
    if (look.cells or 0) > expected:
        return (back,)
    go_on = _go_on(look, s, expected)
    return (
        back.model_copy(update={"alternative_to": (go_on.id,)}),
        go_on.model_copy(update={"alternative_to": (back.id,)}),
    )


def _go_on(look: Look, s: ReviewSettings, expected: int) -> Proposal:
    how = "with the taper" if look.remaining else "as planned"
    title = say("Cells are as expected or fewer: go on {how}.", how=how)
    changes = _other_medicine(look, title)
    if changes:
        title = say(
            "Cells are as expected or fewer: go on with the same counts, but with another steroid today."
        )
        changes = _other_medicine(look, title)
    return _proposal(look, s, "go-on", title, "keep", changes)


def _swapped(look: Look, s: ReviewSettings) -> tuple[Proposal, ...]:
    """Cells that nobody saw say nothing; what speaks against the present steroid does."""
    title = say("The steroid is changed today for one that this eye may have, at the same counts.")
    changes = _other_medicine(look, title)
    return (_proposal(look, s, "other-steroid", title, "keep", changes),) if changes else ()


def _other_medicine(look: Look, why: str) -> tuple[Adjustment, ...]:
    """The same counts with another steroid, where this look speaks against the present one."""
    running = look.running
    if running is None or not look.refused_now(running) or not look.still_due(running):
        return ()
    return look.kept((), why)


def _hold(look: Look, s: ReviewSettings, expected: int) -> Proposal:
    count = look.own_count
    steps = ((count, s.step_back_days), *look.later_steps)
    grade, most = GRADES[look.cells or 0], GRADES[expected]
    title = say(
        "Cells {grade}, at most {most} expected: hold {count} a day for {step_back_days} days.",
        grade=grade,
        most=most,
        count=count,
        step_back_days=s.step_back_days,
    )
    return _proposal(look, s, "hold", title, "hold", look.kept(steps, title))


def _step_back(look: Look, s: ReviewSettings) -> Proposal:
    back = min(max(look.step_before or 0, look.own_count + 1), look.hourly)
    steps = ((back, s.step_back_days), *look.steps_ahead)
    title = say(
        "Worse than last time: back to {back} a day for {step_back_days} days, then the later steps whole.",
        back=back,
        step_back_days=s.step_back_days,
    )
    return _proposal(look, s, "step-back", title, "raise", look.kept(steps, title))


def _shorten(look: Look, s: ReviewSettings, go_on: str) -> tuple[Proposal, ...]:
    """Quiet at this look and the last: the later steps may be a week each, down to the shortest course."""
    if look.cells != 0 or look.cells_before != 0 or not look.quiet_before or not look.own_count:
        return ()
    if look.uveitic and not look.fact("quiet_90"):
        return ()
    steps = _shorter(look, s)
    if steps is None:
        return ()
    title = say(
        "Quiet twice: the later steps may be {shorter_step_days} days each.",
        shorter_step_days=s.shorter_step_days,
    )
    short = _proposal(look, s, "shorten", title, "lower", look.lowered(steps, title))
    return (short.model_copy(update={"alternative_to": (go_on,)}),)


def _shorter(look: Look, s: ReviewSettings) -> tuple[StepPair, ...] | None:
    """The steps ahead cut to a week each, the last stretched so that the course keeps its shortest length."""
    left = next(((st.end - look.findings.date).days for st in look.steps if st.end >= look.findings.date), 0)
    steps = [(look.own_count, left)] if left else []
    steps += [(count, min(days, s.shorter_step_days)) for count, days in look.later_steps]
    if not steps:
        return None
    missing = days_short(look, s, steps)
    if missing > 0:
        steps[-1] = (steps[-1][0], steps[-1][1] + missing)
    return tuple(steps) if sum(d for _, d in steps) < len(look.remaining) else None


def days_short(look: Look, s: ReviewSettings, steps: Sequence[StepPair]) -> int:
    """By how many days the course would fall short of the shortest one if it went on as ``steps``."""
    first = look.steps[0].start if look.steps else look.tomorrow
    return shortest(look, s) - (look.tomorrow - first).days - sum(days for _, days in steps)


def shortest(look: Look, s: ReviewSettings) -> int:
    """The fewest days of steroid: none in a responder without cells."""
    if look.fact("responder") and look.cells == 0:
        return 0
    if look.uveitic:
        return s.shortest_uveitic
    return s.shortest_event if look.fact("event") else s.shortest_quiet


def _reaches(look: Look, cells: CellGrade) -> bool:
    return look.cells is not None and look.cells >= _grade(cells)


def _grade(cells: CellGrade) -> int:
    return GRADES.index(cells)


def _caution(look: Look, s: ReviewSettings, id_: str, text: str) -> Caution:
    reasons = (Reason(rule=id_, because=s.because, source=s.source, mark=s.mark),)
    return Caution(id=id_, text=text, eye=look.findings.eye, level="stop", reasons=reasons)


def _proposal(
    look: Look, s: ReviewSettings, id_: str, title: str, direction: TaperMove, changes: Sequence[Adjustment]
) -> Proposal:
    return Proposal(
        id=id_,
        eye=look.findings.eye,
        on=look.findings.date,
        about="inflammation",
        title=title,
        direction=direction,
        adjustments=tuple(changes),
        reasons=(Reason(rule=id_, because=cells_seen(look), source=s.source, mark=s.mark),),
    )
