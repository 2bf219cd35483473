"""The proposals of a review in readable English, with what signing each of them would change."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator

from followup.cli.contract import visible
from followup.cli.words import counted, listed, long_day, one_line, short_day
from followup.clinical.careplan import Adjustment, CarePlan, CourseAdded, CourseEdit, NeedAdded, Reason
from followup.clinical.compare import compare_plans
from followup.clinical.compare_words import in_english
from followup.clinical.english import steps_words
from followup.clinical.proposal import Outcome, Proposal
from followup.clinical.protocol import Protocol
from followup.clinical.record import Record
from followup.clinical.review import accept

WIDTH = 100
Signed = Callable[[tuple[Adjustment, ...]], CarePlan]


def render_review(outcome: Outcome, record: Record, protocol: Protocol, now: CarePlan, signed: Signed) -> str:
    """Every finding, note and proposal; ``signed`` gives the plan that adjustments would make of ``now``."""
    lines = [
        f"{one_line(record.patient.name)}, code {record.patient.code}, {outcome.eye} eye",
        f"Look on {long_day(outcome.date)}, day {outcome.day} after surgery.",
        f"{outcome.expected.capitalize()}; {counted(outcome.present_count, 'steroid drop', 'steroid drops')} "
        "due that day.",
        f"Protocol: {protocol.label}. Nothing changes before a surgeon signs.",
        *_section("Same-day senior review: no proposal is made", (c.text for c in outcome.senior)),
        *_section("For a senior", (c.text for c in outcome.notes)),
        *_section("Pressure", [outcome.response] if outcome.response else []),
        *_section("Not seen, and never counted as normal", (q.text for q in outcome.missing)),
    ]
    for number, proposal in enumerate(outcome.proposals, 1):
        lines += ["", f"Proposal {number}: {proposal.id}", *_proposal(proposal, protocol, now, signed)]
    return visible("\n".join(lines))


def _section(title: str, lines: Iterable[str]) -> list[str]:
    found = list(lines)
    return ["", title, *(_wrapped(line) for line in found)] if found else []


def _proposal(proposal: Proposal, protocol: Protocol, now: CarePlan, signed: Signed) -> Iterator[str]:
    yield _wrapped(proposal.title)
    if proposal.today:
        yield _wrapped("Today.")
    if proposal.opposes:
        yield _wrapped(f"It pulls the other way than {listed(proposal.opposes)}: choose one.")
    if proposal.alternative_to:
        yield _wrapped(f"Instead of {listed(proposal.alternative_to)}: choose one.")
    for adjustment in proposal.adjustments:
        yield _wrapped(f"changes: {_change(adjustment, protocol)}")
    for offer in proposal.offers:
        against = f" ({'; '.join(offer.cautions)})" if offer.cautions else ""
        yield _wrapped(f"may be added: {offer.kind}, {offer.medicine} {offer.count} a day{against}")
    for refused in proposal.not_offered:
        yield _wrapped(f"not offered: {refused.kind}: {refused.why}")
    if proposal.adjustments:
        edits = accept([proposal], by="a surgeon", reason="")
        for line in in_english(compare_plans(now, signed(edits)), protocol):
            yield _wrapped(f"signed: {line}")
    yield from (_wrapped(line) for line in _because(proposal.reasons))


def _change(adjustment: Adjustment, protocol: Protocol) -> str:
    if isinstance(adjustment, CourseEdit):
        if not adjustment.steps:
            return f"{adjustment.course} ends the day before {short_day(adjustment.starts)}"
        return f"{adjustment.course} from {short_day(adjustment.starts)}: {steps_words(adjustment.steps)}"
    if isinstance(adjustment, CourseAdded):
        name = protocol.formulary[adjustment.medicine].label
        return f"{name} from {short_day(adjustment.starts)}: {steps_words(adjustment.steps)}"
    assert isinstance(adjustment, NeedAdded)
    window = f"{short_day(adjustment.earliest)} to {short_day(adjustment.latest)}"
    return f"a look at {adjustment.need.replace('-', ' ')} from {window}"


def _because(reasons: Iterable[Reason]) -> Iterator[str]:
    for reason in reasons:
        yield f"because {reason.because} [{reason.rule}; {reason.source}; {reason.mark}]"


def _wrapped(line: str) -> str:
    return textwrap.fill(
        line.strip(),
        WIDTH,
        initial_indent="  ",
        subsequent_indent="    ",
        break_long_words=False,
        break_on_hyphens=False,
    )
