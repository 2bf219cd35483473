"""Which rules fire on an eye, and why."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from followup.clinical.careplan import Reason
from followup.clinical.facts.derive import Fact, truth
from followup.clinical.protocol.facts import bare
from followup.clinical.protocol.rule import Rule


@dataclass(frozen=True)
class Fired:
    """A rule that fired, with the facts that made it fire."""

    rule: Rule
    reason: Reason

    def over(self, losers: Iterable[str]) -> Reason:
        """The reason with the rules that lost to this one."""
        return self.reason.model_copy(update={"overrode": tuple(losers)})


def fire(rules: Iterable[Rule], facts: Mapping[str, Fact]) -> tuple[Fired, ...]:
    """Every rule that holds on these facts, in the protocol's order."""
    return tuple(Fired(rule, _reason(rule, facts)) for rule in rules if holds(rule, facts))


def holds(rule: Rule, facts: Mapping[str, Fact]) -> bool:
    """``unless`` is not met by what is not recorded; ``when`` and ``any_of`` need a plain yes."""
    return (
        all(truth(name, facts) is True for name in rule.when)
        and (not rule.any_of or any(truth(name, facts) is True for name in rule.any_of))
        and not any(truth(name, facts) is True for name in rule.unless)
        and all(truth(name, facts) is None for name in rule.unknown)
    )


def _reason(rule: Rule, facts: Mapping[str, Fact]) -> Reason:
    told = [facts[bare(name)] for name in (*rule.when, *rule.any_of, *rule.unknown)]
    told = [fact for fact in told if fact.value is not False or fact.name in map(bare, rule.when)]
    if not told:
        told = [facts[bare(name)] for name in rule.unless]
    told += [facts[bare(name)] for name in rule.looked_for]
    return Reason(
        rule=rule.id,
        because=rule.because,
        source=rule.source,
        mark=rule.mark,
        facts=tuple(dict.fromkeys(fact.use() for fact in told)),
    )
