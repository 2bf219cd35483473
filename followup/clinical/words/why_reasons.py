"""One reason in words: the field, the fact, the rule, the source, what it overrode, what would change it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from followup.clinical.careplan import CarePlan, FactUse, Reason
from followup.clinical.english import MARKS, joined, listed, sentence
from followup.clinical.facts.derive import once
from followup.clinical.plan.keys_told import PlanNames
from followup.clinical.protocol.facts import bare
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.rule import Rule
from followup.said import Cited, Sentence, say
from followup.typed import said, typed

BY_HAND = "surgeon"
"""What stands for a rule where a surgeon decided."""

_ITS_OWN = {
    BY_HAND: say("a change signed by a surgeon; only a later signature changes it"),
    "goes-on": say("the record says that the medicine is stopped, or until when it is given"),
    "waking-day": say("the record gives rising and bedtime with a waking day between them"),
    "long-nsaid": say("the NSAID runs no longer than its label, or the protocol sets another limit"),
    "label-no-figure": say(
        "the formulary gets the figure of the clinic's label, or another product is chosen"
    ),
    "label-ceiling": say(
        "the course is lowered, another product is chosen, or the protocol is signed for it"
    ),
}
"""Reasons that no rule of the protocol's files gives, and what changes them."""


def tell(
    reasons: Sequence[Reason], plan: CarePlan, protocol: Protocol, *, traced: bool = True
) -> Iterator[str]:
    """Every reason, one after the other; ``traced`` down to the rules and fields that it came from."""
    for reason in reasons:
        if traced:
            yield from _tell(reason, plan, protocol)
        else:
            yield joined(reason_words(reason))


_QUALITY = {
    "P": "published",
    "S": say("secondary copy"),
    "M": say("from memory"),
    "C": say("common practice"),
}
# What is words and no citation.
_WORDS = (say("common practice, no source"), say("from memory"), say("the surgeon's answer"))
# What a source may say itself of its own quality.
_KNOWN = (
    say("common practice"),
    say("from memory"),
    say("secondary copy"),
    say("the surgeon's answer"),
    say("our judgement"),
)


def reason_words(reason: Reason) -> tuple[str, ...]:
    """A reason for people: why, what in this record decided, and where it comes from; no ids, no fields."""
    found = (sentence(because_of(reason)), here_words(reason), origin_words(reason))
    return tuple(part for part in found if part)


def here_words(reason: Reason) -> str:
    """What of this record decided; where nothing was found, what was looked for and is not there."""
    holds = once(fact.holds for fact in reason.facts)
    return say("In this record: {holds}.", holds=holds) if holds else ""


def origin_words(reason: Reason) -> str:
    """The source, and how good it is, in brackets; empty where a surgeon decided and is named."""
    source = source_of(reason)
    if reason.rule == BY_HAND or source in _WORDS:
        return say("({words})", words=source)
    # A source is cited as it is written, in every language.
    cited = typed(source)
    if any(known in source for known in _KNOWN):
        return say("({words})", words=cited)
    return say("({words})", words=joined((cited, _QUALITY[reason.mark]), "; "))


def because_of(reason: Reason) -> str:
    """Why, as a sentence may hold it: the words of a surgeon are marked as typed."""
    return said(reason.because) if reason.rule == BY_HAND else reason.because


def source_of(reason: Reason) -> str:
    """Where a reason comes from; the name of the surgeon who gave it is marked as typed."""
    if reason.rule != BY_HAND:
        return reason.source
    if isinstance(reason.source, Sentence) and reason.source.values.get("by"):
        return reason.source.filled(by=typed(reason.source.values["by"]))
    deed, _, name = reason.source.partition(" by ")
    return (
        say("{deed} by {name}", deed=deed, name=typed(name))
        if name and name != "the surgeon"
        else reason.source
    )


def _tell(reason: Reason, plan: CarePlan, protocol: Protocol) -> Iterator[str]:
    for fact in reason.facts:
        yield _fact(fact, protocol)
    because, source = because_of(reason), source_of(reason)
    if reason.rule != BY_HAND and source not in _WORDS:
        source = Cited(source)
    yield say("Rule {rule}: {because}", rule=reason.rule, because=sentence(because))
    yield say(
        "Source: {source} ({mark}: {quality}).", source=source, mark=reason.mark, quality=MARKS[reason.mark]
    )
    for loser in reason.overrode:
        yield from _overrode(loser, reason, plan, protocol)
    change = _change(reason, plan, protocol)
    if change:
        yield say("It would change if {change}.", change=change)


def _fact(use: FactUse, protocol: Protocol) -> str:
    about = _abouts(protocol).get(use.fact)
    said = use.holds or (joined((about, use.value), ": ") if about else use.value)
    fields = listed(use.fields)
    return (
        say("The record: {said} ({fields}).", said=said, fields=fields)
        if fields
        else say("The record: {said}.", said=said)
    )


def _overrode(loser: str, reason: Reason, plan: CarePlan, protocol: Protocol) -> Iterator[str]:
    lost = [o for o in plan.overridden if o.rule == loser and reason.rule in o.lost_to]
    for entry in lost or [o for o in plan.overridden if o.rule == loser]:
        yield say(
            "Rule {rule} was set aside. {entry}",
            rule=entry.rule,
            entry=PlanNames(plan, protocol).gave_way(entry),
        )


def _change(reason: Reason, plan: CarePlan, protocol: Protocol) -> str:
    rule = next((r for r in protocol.rules if r.id == reason.rule), None)
    if rule is not None:
        return joined(_conditions(rule, protocol), "; or if ") or say("the protocol itself is changed")
    if reason.rule.startswith("tier-"):
        return say("another fact sets a higher pressure risk, or the one that set it falls away")
    fields = [f for q in plan.questions if q.id == reason.rule for f in q.fields]
    fields += [f for use in reason.facts for f in use.fields]
    if reason.rule in _ITS_OWN:
        return _ITS_OWN[reason.rule]
    if fields:
        return say("the record says otherwise in {fields}", fields=listed(dict.fromkeys(fields), "or"))
    return say("another medicine is chosen, or the protocol itself is changed")


def _conditions(rule: Rule, protocol: Protocol) -> Iterator[str]:
    """What would keep the rule from firing."""
    about = _abouts(protocol)
    for name in rule.when:
        yield say("this were not so: {about}", about=_said(name, about))
    if rule.any_of:
        yield say(
            "none of these were so: {any_of}", any_of=listed((_said(n, about) for n in rule.any_of), "or")
        )
    for name in rule.unless:
        yield say("this were so: {about}", about=_said(name, about))
    for name in rule.unknown:
        yield say("it were written down whether this is so: {about}", about=_said(name, about))


def _said(name: str, about: dict[str, str]) -> str:
    words = about.get(bare(name), bare(name).replace("_", " "))
    return words if name == bare(name) else say("not ({words})", words=words)


def _abouts(protocol: Protocol) -> dict[str, str]:
    return {fact.name: fact.about for fact in protocol.facts}
