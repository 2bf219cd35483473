"""What a protocol must be before it is used: closed, possible, and free of contradiction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

from followup.clinical.context import known_path
from followup.clinical.facts import FactDef, bare
from followup.clinical.protocol import Protocol, Source
from followup.clinical.review_rules import Flag, Other, ToSee
from followup.clinical.rule import CourseEffect, Rule
from followup.errors import FollowupError

Placed = tuple[Source, int, Rule]


def check_protocol(protocol: Protocol, main: Source, facts: Source, rules: Sequence[Placed]) -> None:
    """Raise the first contradiction found, by file and line."""
    _check_settings(protocol, main)
    _check_facts(protocol.facts, facts)
    known = {fact.name for fact in protocol.facts}
    seen: set[str] = set()
    for source, i, rule in rules:
        if rule.id in seen:
            raise source.refuse("protocol.rule", f'the rule "{rule.id}" stands twice', "rule", i)
        seen.add(rule.id)
        _check_rule(protocol, source, i, rule, known)
    _check_needs(protocol, rules)
    _check_rivals(protocol, rules)


def _check_settings(protocol: Protocol, main: Source) -> None:
    for role, medicine in protocol.medicines.items():
        if medicine not in protocol.formulary:
            raise _no_medicine(main, medicine, "medicines", role)
    for role in ("steroid", "steroid_weaker", "nsaid", "antibiotic", "cycloplegic", "antiviral"):
        if role not in protocol.medicines:
            raise main.refuse(
                "protocol.medicines", f'no usual medicine for "{role}"', "medicines", fix="add it"
            )
    for tier in ("A", "B", "C"):
        if tier not in protocol.tiers:
            raise main.refuse("protocol.tier", f"tier {tier} is missing", "tier", fix="add it")
    for i, entry in enumerate(protocol.above_label):
        if entry.medicine not in protocol.formulary:
            raise _no_medicine(main, entry.medicine, "above_label", i, "medicine")
    for name, kind in protocol.kinds.items():
        if kind.finding is not None and not known_path(f"reviews.{kind.finding}"):
            raise main.refuse(
                "protocol.kind", f'no finding "{kind.finding}" in a review', "kind", name, "finding"
            )
    ids = [entry["id"] for entry in main.data["taper"]]
    for i, name in enumerate(ids):
        if name in ids[:i]:
            raise main.refuse("protocol.taper", f'the taper "{name}" stands twice', "taper", i)


def _check_facts(facts: Iterable[FactDef], source: Source) -> None:
    seen: set[str] = set()
    for i, fact in enumerate(facts):
        if fact.name in seen:
            raise source.refuse("protocol.fact", f'the fact "{fact.name}" stands twice', "fact", i)
        for name in (*(fact.any_of or ()), *(fact.all_of or ())):
            if bare(name) not in seen:
                what = f'the fact "{fact.name}" builds on "{bare(name)}", which does not stand before it'
                raise source.refuse("protocol.fact", what, "fact", i)
        if fact.field is not None and not known_path(fact.field):
            raise source.refuse("protocol.fact", f'no field "{fact.field}" in the record', "fact", i, "field")
        seen.add(fact.name)


def _check_rule(protocol: Protocol, source: Source, i: int, rule: Rule, known: set[str]) -> None:
    for name in rule.names:
        if bare(name) not in known:
            raise source.refuse("protocol.rule", f'the rule "{rule.id}" names no fact "{name}"', "rule", i)
    for effect in rule.course:
        if effect.medicine and effect.medicine not in protocol.formulary:
            raise _no_medicine(source, effect.medicine, "rule", i)
        if effect.medicine and protocol.formulary[effect.medicine].role != effect.role:
            what = f'the rule "{rule.id}" gives {effect.medicine} as {effect.role}, which it is not'
            raise source.refuse("protocol.rule", what, "rule", i)
        _check_medicine(protocol, source, i, rule, effect)
        for taper in (effect.taper, effect.replaces):
            if taper and taper not in protocol.tapers:
                raise source.refuse(
                    "protocol.rule", f'the rule "{rule.id}" names no taper "{taper}"', "rule", i
                )
    for need in rule.need:
        if need.kind not in protocol.kinds:
            raise source.refuse(
                "protocol.rule", f'no kind of need "{need.kind}"', "rule", i, fix="add [kind]"
            )
    if rule.ask and rule.ask.released_by and not known_path(f"reviews.{rule.ask.released_by}"):
        raise source.refuse("protocol.rule", f'no finding "{rule.ask.released_by}"', "rule", i)
    if rule.ask:
        for field in rule.ask.fields:
            if not known_path(field) and not field.startswith("in_use"):
                raise source.refuse("protocol.rule", f'no field "{field}" in the record', "rule", i)


def _check_medicine(protocol: Protocol, source: Source, i: int, rule: Rule, effect: CourseEffect) -> None:
    """A course has a medicine, and one that is given for so many days a count."""
    usual = effect.medicine or protocol.medicines.get(effect.role)
    if usual is None:
        what = f'the rule "{rule.id}" names no medicine, and none is usual for "{effect.role}"'
        raise source.refuse("protocol.rule", what, "rule", i, fix="name one")
    if effect.days and effect.count is None and protocol.formulary[usual].label_count is None:
        what = f'the rule "{rule.id}" gives {usual} for days, which has no usual count a day'
        raise source.refuse(
            "protocol.rule", what, "rule", i, fix="add count, or label_count to the formulary"
        )


def _check_needs(protocol: Protocol, rules: Sequence[Placed]) -> None:
    """Needs of one id are of one kind, and differ only where the kind says how to join them."""
    first: dict[str, object] = {}
    ids = {need.id for _, _, rule in rules for need in rule.need}
    for source, i, rule in rules:
        for need in rule.need:
            for other in (need.unless_need, need.after.need if need.after else None):
                if other and other not in ids:
                    raise source.refuse(
                        "protocol.need", f'the need "{need.id}" names no need "{other}"', "rule", i
                    )
            window = (need.kind, need.earliest, need.target, need.latest)
            merge = protocol.kinds[need.kind].merge
            if first.setdefault(need.id, window) != window and merge == "same":
                what = (
                    f'the need "{need.id}" stands with two windows and its kind does not say how to join them'
                )
                raise source.refuse("protocol.need", what, "rule", i)


def _check_rivals(protocol: Protocol, rules: Sequence[Placed]) -> None:
    """Two rules of equal rank must not set the same thing at once: nobody could say which wins."""
    facts = {fact.name: fact for fact in protocol.facts}
    for (_, _, one), (source, i, two) in combinations(rules, 2):
        if one.rank != two.rank:
            continue
        same = _settings_of(one) & _settings_of(two)
        if same and _can_meet(one, two, facts):
            what = f'the rules "{one.id}" and "{two.id}" both set {min(same)} at rank {two.rank}'
            raise source.refuse("protocol.rivals", what, "rule", i, fix="give one a higher rank")


def _settings_of(rule: Rule) -> set[str]:
    """What the rule sets outright, where two answers could not be joined."""
    found = {f"the medicine for {e.role}" for e in rule.course if e.medicine}
    found |= {f"what stands in for taper {e.replaces}" for e in rule.course if e.replaces}
    if rule.first_day is not None:
        found.add("the first drop day")
    return found


def _can_meet(one: Rule, two: Rule, facts: dict[str, FactDef]) -> bool:
    """False only where the conditions show that both rules can never fire on one eye."""
    for a, b in ((one, two), (two, one)):
        needed = set(a.when) | {part for name in a.when for part in _parts(name, facts)}
        if needed & (set(b.unless) | set(b.unknown)):
            return False
        if b.any_of and set(b.any_of) <= set(a.unless):
            return False
        if any(f"not {name}" in needed for name in b.when):
            return False
        if any(_exclude(facts[x], facts[y]) for x in a.when for y in b.when if x in facts and y in facts):
            return False
    return True


def _parts(name: str, facts: dict[str, FactDef]) -> set[str]:
    """What must hold for ``name`` to hold, in one and more steps."""
    parts = set(facts[bare(name)].all_of or ()) if not name.startswith("not ") else set()
    return parts | {deeper for part in parts if not part.startswith("not ") for deeper in _parts(part, facts)}


def _exclude(one: FactDef, two: FactDef) -> bool:
    """Whether two tests of one field can never both hold."""
    if one.field is None or one.field != two.field:
        return False
    if one.is_ is not None and two.is_ is not None:
        return not set(one.is_) & set(two.is_)
    low = max(x for x in (one.at_least, one.over, two.at_least, two.over, float("-inf")) if x is not None)
    high = min(x for x in (one.under, one.up_to, two.under, two.up_to, float("inf")) if x is not None)
    return low > high or (low == high and low in (one.over, two.over, one.under, two.under))


def _no_medicine(source: Source, medicine: str, *place: str | int) -> FollowupError:
    what = f'no medicine "{medicine}" in the formulary'
    return source.refuse(
        "protocol.medicine", what, *place, fix="add it to formulary.toml or correct the name"
    )


def check_review(protocol: Protocol, source: Source) -> None:
    """The review rules name only facts, findings, looks, tapers and medicines that are there."""
    known = {fact.name for fact in protocol.facts}
    review = protocol.review
    tables: tuple[tuple[str, Sequence[Flag | Other | ToSee]], ...] = (
        ("to_see", review.to_see),
        ("flag", review.flag),
        ("other", review.other),
    )
    for table, entries in tables:
        for i, entry in enumerate(entries):
            if not known_path(f"reviews.{entry.finding}"):
                raise source.refuse("protocol.review", f'no finding "{entry.finding}"', table, i, "finding")
            for name in entry.when:
                if name not in known:
                    raise source.refuse("protocol.review", f'no fact "{name}"', table, i, "when")
    for i, other in enumerate(review.other):
        for look in other.look:
            if look.need not in protocol.kinds:
                raise source.refuse("protocol.review", f'no kind of look "{look.need}"', "other", i, "look")
        if other.give and other.give.medicine and other.give.medicine not in protocol.formulary:
            raise _no_medicine(source, other.give.medicine, "other", i, "give")
        if other.give and not other.give.medicine and other.give.role not in protocol.medicines:
            raise source.refuse("protocol.review", f"no usual {other.give.role}", "other", i, "give")
    for i, offer in enumerate(review.offer):
        if offer.medicine not in protocol.formulary:
            raise _no_medicine(source, offer.medicine, "offer", i, "medicine")
    if review.settings.test_medicine not in protocol.formulary:
        raise _no_medicine(source, review.settings.test_medicine, "settings", "test_medicine")
    for key in ("later_steps_uveitic", "later_steps_other"):
        if getattr(review.settings, key) not in protocol.tapers:
            what = f'no taper "{getattr(review.settings, key)}"'
            raise source.refuse("protocol.review", what, "settings", key)
