"""What a protocol must be before it is used: closed, possible, and free of contradiction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from followup.clinical.protocol.checks_facts import check_facts
from followup.clinical.protocol.checks_needs import check_needs
from followup.clinical.protocol.checks_reviews import check_review
from followup.clinical.protocol.facts import FactDef, bare, none_between
from followup.clinical.protocol.files import Files
from followup.clinical.protocol.lines import Source, dangling
from followup.clinical.protocol.protocol import Placed, Protocol
from followup.clinical.protocol.rule import CourseEffect, Rule
from followup.clinical.record.eye import known_path
from followup.errors import FollowupError


def check_protocol(protocol: Protocol, files: Files) -> None:
    """Raise the first contradiction found, by file and line."""
    for problem in problems(protocol, files):
        raise problem


def problems(protocol: Protocol, files: Files) -> Iterator[FollowupError]:
    """Every contradiction, by file and line. Rivals are looked for once all names are known."""
    found = 0
    for problem in _names_and_needs(protocol, files):
        found += 1
        yield problem
    if not found:
        yield from _check_rivals(protocol, files.rules)


def _names_and_needs(protocol: Protocol, files: Files) -> Iterator[FollowupError]:
    yield from _check_settings(protocol, files.main)
    yield from check_facts(protocol, files.facts)
    known = {fact.name for fact in protocol.facts}
    seen: set[str] = set()
    for source, i, rule in files.rules:
        if rule.id in seen:
            yield source.refuse("protocol.rule", f'the rule "{rule.id}" stands twice', "rule", i)
        seen.add(rule.id)
        yield from _check_rule(protocol, source, i, rule, known)
    yield from check_needs(protocol, files.rules)
    yield from check_review(protocol, files.review)
    yield from _check_sentences(protocol)
    for path in sorted(files.main.path.parent.glob("*.toml")):
        yield from dangling(path)


def _check_settings(protocol: Protocol, main: Source) -> Iterator[FollowupError]:
    for role, medicine in protocol.medicines.items():
        if medicine not in protocol.formulary:
            yield _no_medicine(main, medicine, "medicines", role)
    for role in ("steroid", "steroid_weaker", "nsaid", "antibiotic", "cycloplegic", "antiviral"):
        if role not in protocol.medicines:
            yield main.refuse(
                "protocol.medicines", f'no usual medicine for "{role}"', "medicines", fix="add it"
            )
    for tier in ("A", "B", "C"):
        if tier not in protocol.tiers:
            yield main.refuse("protocol.tier", f"tier {tier} is missing", "tier", fix="add it")
    for i, entry in enumerate(protocol.above_label):
        if entry.medicine not in protocol.formulary:
            yield _no_medicine(main, entry.medicine, "above_label", i, "medicine")
    for name, kind in protocol.kinds.items():
        if kind.finding is not None and not known_path(f"reviews.{kind.finding}"):
            yield main.refuse(
                "protocol.kind", f'no finding "{kind.finding}" in a review', "kind", name, "finding"
            )
    ids = [entry["id"] for entry in main.data["taper"]]
    for i, name in enumerate(ids):
        if name in ids[:i]:
            yield main.refuse("protocol.taper", f'the taper "{name}" stands twice', "taper", i)


def _sentences(protocol: Protocol) -> tuple[str, ...]:
    return tuple(advice.id for advice in protocol.aftercare.advice)


def _check_sentences(protocol: Protocol) -> Iterator[FollowupError]:
    """What a caution about a medicine says to the patient is there, and what it waits for is a look."""
    known = _sentences(protocol)
    for caution in protocol.cautions.cautions:
        if caution.sheet is not None and caution.sheet not in known:
            yield FollowupError(
                "protocol.sheet",
                f'the caution "{caution.id}" asks for the sentence "{caution.sheet}", which there is not',
                where="cautions.toml",
                fix=f"name one of aftercare.toml: {', '.join(known)}",
            )
    looks = {need.kind for rule in protocol.rules for need in rule.need}
    for advice in protocol.aftercare.advice:
        if advice.until_look is not None and advice.until_look not in looks:
            yield FollowupError(
                "protocol.sheet",
                f'the advice "{advice.id}" ends with the look "{advice.until_look}", which no rule asks for',
                where="aftercare.toml",
                fix="name a kind of look of the rules",
            )


def _check_rule(
    protocol: Protocol, source: Source, i: int, rule: Rule, known: set[str]
) -> Iterator[FollowupError]:
    for name in rule.names:
        if bare(name) not in known:
            yield source.refuse("protocol.rule", f'the rule "{rule.id}" names no fact "{name}"', "rule", i)
    if rule.caution and rule.caution.sheet and rule.caution.sheet not in _sentences(protocol):
        fix = f"name one of aftercare.toml: {', '.join(_sentences(protocol))}"
        what = f'the rule "{rule.id}" asks for the sentence "{rule.caution.sheet}", which there is not'
        yield source.refuse("protocol.sheet", what, "rule", i, fix=fix)
    for effect in rule.course:
        if effect.medicine and effect.medicine not in protocol.formulary:
            yield _no_medicine(source, effect.medicine, "rule", i)
        elif effect.medicine and protocol.formulary[effect.medicine].role != effect.role:
            what = f'the rule "{rule.id}" gives {effect.medicine} as {effect.role}, which it is not'
            yield source.refuse("protocol.rule", what, "rule", i)
        yield from _check_medicine(protocol, source, i, rule, effect)
        for taper in (effect.taper, effect.replaces):
            if taper and taper not in protocol.tapers:
                yield source.refuse(
                    "protocol.rule", f'the rule "{rule.id}" names no taper "{taper}"', "rule", i
                )
    for gap in rule.gap:
        if gap.finding and not known_path(f"reviews.{gap.finding}"):
            yield source.refuse("protocol.rule", f'no finding "{gap.finding}"', "rule", i)
    for kind in (*(need.kind for need in rule.need), *(gap.kind for gap in rule.gap)):
        if kind not in protocol.kinds:
            yield source.refuse("protocol.rule", f'no kind of need "{kind}"', "rule", i, fix="add [kind]")
    if rule.ask and rule.ask.released_by and not known_path(f"reviews.{rule.ask.released_by}"):
        yield source.refuse("protocol.rule", f'no finding "{rule.ask.released_by}"', "rule", i)
    if rule.ask:
        for field in rule.ask.fields:
            if not known_path(field):
                yield source.refuse("protocol.rule", f'no field "{field}" in the record', "rule", i)


def _check_medicine(
    protocol: Protocol, source: Source, i: int, rule: Rule, effect: CourseEffect
) -> Iterator[FollowupError]:
    """A course has a medicine, and one that is given for so many days a count."""
    usual = effect.medicine or protocol.medicines.get(effect.role)
    if usual is None:
        what = f'the rule "{rule.id}" names no medicine, and none is usual for "{effect.role}"'
        yield source.refuse("protocol.rule", what, "rule", i, fix="name one")
    elif (
        usual in protocol.formulary
        and effect.days
        and effect.count is None
        and protocol.formulary[usual].label_count is None
    ):
        what = f'the rule "{rule.id}" gives {usual} for days, which has no usual count a day'
        yield source.refuse(
            "protocol.rule", what, "rule", i, fix="add count, or label_count to the formulary"
        )


def _check_rivals(protocol: Protocol, rules: Sequence[Placed]) -> Iterator[FollowupError]:
    """Two rules of equal rank must not set the same thing at once: nobody could say which wins."""
    facts = {fact.name: fact for fact in protocol.facts}
    for (_, _, one), (source, i, two) in combinations(rules, 2):
        if one.rank != two.rank:
            continue
        same = _settings_of(one) & _settings_of(two)
        if same and _can_meet(one, two, facts):
            what = f'the rules "{one.id}" and "{two.id}" both set {min(same)} at rank {two.rank}'
            yield source.refuse("protocol.rivals", what, "rule", i, fix="give one a higher rank")


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
    lows = (one.at_least, one.over, two.at_least, two.over)
    highs = (one.under, one.up_to, two.under, two.up_to)
    return none_between(lows, highs, one.over, two.over, one.under, two.under)


def _no_medicine(source: Source, medicine: str, *place: str | int) -> FollowupError:
    what = f'no medicine "{medicine}" in the formulary'
    return source.refuse(
        "protocol.medicine", what, *place, fix="add it to formulary.toml or correct the name"
    )
