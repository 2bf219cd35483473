"""The proposals of a review in readable English, with what signing each of them would change."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator

from followup.cli.contract import visible
from followup.cli.plan_text import NOT_APPROVED
from followup.cli.words import long_day
from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import CarePlan, Reason
from followup.clinical.english import counted, listed
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record
from followup.clinical.review.proposal import Outcome, Proposal
from followup.clinical.review.review import accept
from followup.clinical.words.differences import compare_plans
from followup.clinical.words.differences_told import in_english
from followup.typed import one_line

WIDTH = 100
Signed = Callable[[tuple[Adjustment, ...]], CarePlan]


def render_review(outcome: Outcome, record: Record, protocol: Protocol, now: CarePlan, signed: Signed) -> str:
    """Every finding, note and proposal; ``signed`` gives the plan that adjustments would make of ``now``."""
    due = counted(outcome.present_count, "steroid drop", "steroid drops")
    taken = "" if outcome.taken_count == outcome.present_count else ", and none were taken"
    approval = "signed for this clinic" if now.approved else NOT_APPROVED
    lines = [
        f"{one_line(record.patient.name)}, code {record.patient.code}, {outcome.eye} eye",
        f"Look on {long_day(outcome.date)}, day {outcome.day} after surgery.",
        f"{outcome.expected.capitalize()}; {due} due that day{taken}.",
        f"Protocol: {protocol.label}, {approval}. Nothing changes before a surgeon signs.",
        *_section("Same-day senior review: no proposal is made", (c.text for c in outcome.senior)),
        *_section("What to do now", outcome.now),
        *_section("For a senior", (c.text for c in outcome.notes)),
        *_section("Pressure", [outcome.response] if outcome.response else []),
        *_section("Asked first", [outcome.waits] if outcome.waits else []),
        *_section("Not seen, and never counted as normal", (q.text for q in outcome.missing)),
    ]
    numbers = {proposal.id: f"proposal {i}" for i, proposal in enumerate(outcome.proposals, 1)}
    for number, proposal in enumerate(outcome.proposals, 1):
        lines += ["", f"Proposal {number}", *_proposal(proposal, numbers, protocol, now, signed)]
    return visible("\n".join(lines))


def _section(title: str, lines: Iterable[str]) -> list[str]:
    found = list(lines)
    return ["", title, *(_wrapped(line) for line in found)] if found else []


def _proposal(
    proposal: Proposal, numbers: dict[str, str], protocol: Protocol, now: CarePlan, signed: Signed
) -> Iterator[str]:
    yield _wrapped(proposal.title)
    if proposal.today:
        yield _wrapped("Today.")
    if proposal.opposes:
        others = listed(numbers[id_] for id_ in proposal.opposes)
        yield _wrapped(f"It pulls the other way than {others}: choose one.")
    if proposal.alternative_to:
        yield _wrapped(f"Instead of {listed(numbers[id_] for id_ in proposal.alternative_to)}: choose one.")
    yield from (_wrapped(f"mind: {text}") for text in proposal.cautions)
    for offer in proposal.offers:
        against = f" ({'; '.join(offer.cautions)})" if offer.cautions else ""
        yield _wrapped(f"may be added: {offer.name}{against}")
    for refused in proposal.not_offered:
        yield _wrapped(f"not offered: {refused.kind}: {refused.why}")
    if proposal.if_signed:
        yield _wrapped(proposal.if_signed)
        edits = accept([proposal], by="a surgeon", reason="")
        for line in in_english(compare_plans(now, signed(edits)), protocol):
            yield _wrapped(f"then: {line}")
    yield from (_wrapped(line) for line in _because(proposal.reasons))


def _because(reasons: Iterable[Reason]) -> Iterator[str]:
    for reason in reasons:
        yield f"because {reason.because} ({reason.source})"


def _wrapped(line: str) -> str:
    return textwrap.fill(
        line.strip(),
        WIDTH,
        initial_indent="  ",
        subsequent_indent="    ",
        break_long_words=False,
        break_on_hyphens=False,
    )
