"""One reason in words: the field, the fact, the rule, the source, what it overrode, what would change it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.clinical.careplan import CarePlan, FactUse, Overridden, Reason
from followup.clinical.english import MARKS, listed, sentence
from followup.clinical.facts import bare
from followup.clinical.protocol import Protocol
from followup.clinical.rule import Rule
from followup.typed import said, typed

BY_HAND = "surgeon"
"""What stands for a rule where a surgeon decided."""

_ITS_OWN = {
    BY_HAND: "a change signed by a surgeon; only a later signature changes it",
    "goes-on": "the record says that the medicine is stopped, or until when it is given",
    "waking-day": "the record gives rising and bedtime 12 to 18 hours apart",
    "long-nsaid": "the NSAID runs no longer than its label, or the protocol sets another limit",
    "label-no-figure": "the formulary gets the figure of the clinic's label, or another product is chosen",
    "label-ceiling": "the course is lowered, another product is chosen, or the protocol is signed for it",
}
"""Reasons that no rule of the protocol's files gives, and what changes them."""


def tell(reasons: Sequence[Reason], plan: CarePlan, protocol: Protocol) -> Iterator[str]:
    """Every reason, one after the other."""
    for reason in reasons:
        yield from _tell(reason, plan, protocol)


def because_of(reason: Reason) -> str:
    """Why, as a sentence may hold it: the words of a surgeon are marked as typed."""
    return said(reason.because) if reason.rule == BY_HAND else reason.because


def source_of(reason: Reason) -> str:
    """Where a reason comes from; the name of the surgeon who gave it is marked as typed."""
    if reason.rule != BY_HAND:
        return reason.source
    deed, _, name = reason.source.partition(" by ")
    return f"{deed} by {typed(name)}" if name else reason.source


def _tell(reason: Reason, plan: CarePlan, protocol: Protocol) -> Iterator[str]:
    for fact in reason.facts:
        yield f"The record: {_fact(fact, protocol)}."
    yield f"Rule {reason.rule}: {sentence(because_of(reason))}"
    yield f"Source: {source_of(reason)} ({reason.mark}: {MARKS[reason.mark]})."
    for loser in reason.overrode:
        yield from _overrode(loser, reason, plan)
    change = _change(reason, plan, protocol)
    if change:
        yield f"It would change if {change}."


def _fact(use: FactUse, protocol: Protocol) -> str:
    about = _abouts(protocol).get(use.fact)
    said = f"{about}: {use.value}" if about else use.value
    return f"{said} ({listed(use.fields)})" if use.fields else said


def _overrode(loser: str, reason: Reason, plan: CarePlan) -> Iterator[str]:
    lost = [o for o in plan.overridden if o.rule == loser and reason.rule in o.lost_to]
    for entry in lost or [o for o in plan.overridden if o.rule == loser]:
        yield overridden(entry)


def overridden(entry: Overridden) -> str:
    """What a rule wanted and did not get."""
    lost = f"It lost to {entry.lost_to}."
    if " " in entry.lost_to and "," not in entry.lost_to:
        lost = f"There is {entry.lost_to}."
    return " ".join(
        (f"Overridden: {entry.rule} wanted {entry.wanted}.", sentence(entry.reason.because), lost)
    )


def _change(reason: Reason, plan: CarePlan, protocol: Protocol) -> str:
    rule = next((r for r in protocol.rules if r.id == reason.rule), None)
    if rule is not None:
        return "; or if ".join(_conditions(rule, protocol)) or "the protocol itself is changed"
    if reason.rule.startswith("tier-"):
        return "another fact sets a stricter tier, or the one that set it falls away"
    fields = [f for q in plan.questions if q.id == reason.rule for f in q.fields]
    fields += [f for use in reason.facts for f in use.fields]
    if reason.rule in _ITS_OWN:
        return _ITS_OWN[reason.rule]
    if fields:
        return f"the record says otherwise in {listed(dict.fromkeys(fields), 'or')}"
    return "another medicine is chosen, or the protocol itself is changed"


def _conditions(rule: Rule, protocol: Protocol) -> Iterator[str]:
    """What would keep the rule from firing."""
    about = _abouts(protocol)
    for name in rule.when:
        yield f"this were not so: {_said(name, about)}"
    if rule.any_of:
        yield f"none of these were so: {listed((_said(n, about) for n in rule.any_of), 'or')}"
    for name in rule.unless:
        yield f"this were so: {_said(name, about)}"
    for name in rule.unknown:
        yield f"it were written down whether this is so: {_said(name, about)}"


def _said(name: str, about: dict[str, str]) -> str:
    words = about.get(bare(name), bare(name).replace("_", " "))
    return words if name == bare(name) else f"not ({words})"


def _abouts(protocol: Protocol) -> dict[str, str]:
    return {fact.name: fact.about for fact in protocol.facts}
