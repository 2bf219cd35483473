"""What a protocol must be before it is used: closed, possible, and free of contradiction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from followup.clinical.protocol.checks_facts import check_asked, check_facts
from followup.clinical.protocol.checks_needs import check_needs
from followup.clinical.protocol.checks_reviews import check_review
from followup.clinical.protocol.facts import FactDef, bare, none_between
from followup.clinical.protocol.files import Files, Placed
from followup.clinical.protocol.lines import Source, dangling
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reader import twice
from followup.clinical.protocol.references import names_of, references
from followup.clinical.protocol.rule import CourseEffect, Rule
from followup.clinical.record.eye import held_at, known_path
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
        yield from _check_rivals(protocol, files.placed)


def _names_and_needs(protocol: Protocol, files: Files) -> Iterator[FollowupError]:
    for file in files:
        yield from twice(file)
    yield from _check_settings(protocol, files.main.source)
    yield from check_facts(protocol, files.facts.source)
    missing = list(_check_references(files))
    yield from missing
    yield from () if missing else check_asked(protocol, files)
    seen: set[str] = set()
    for source, i, rule in files.placed:
        if rule.id in seen:
            yield source.refuse("protocol.rule", f'the rule "{rule.id}" stands twice', "rule", i)
        seen.add(rule.id)
        yield from _check_rule(protocol, source, i, rule)
    yield from check_needs(protocol, files.placed)
    yield from check_review(protocol, files.review.source)
    for path in sorted(files.main.source.path.parent.glob("*.toml")):
        yield from dangling(path)


def _check_references(files: Files) -> Iterator[FollowupError]:
    """Every name in every file that names nothing."""
    named = names_of(file.model for file in files)
    for file in files:
        for place, to, name in references(file.model):
            if not to.finds(name, named):
                who = f'the rule "{file.model.rule[place[1]].id}" names ' if place[0] == "rule" else ""
                what = f'{who}no {to.kind} "{name}"{to.place}'
                yield file.source.refuse(to.code or file.file.code, what, *place, fix=to.fix)


def _check_settings(protocol: Protocol, main: Source) -> Iterator[FollowupError]:
    for role in ("steroid", "steroid_weaker", "nsaid", "antibiotic", "cycloplegic", "antiviral"):
        if role not in protocol.medicines:
            yield main.refuse(
                "protocol.medicines", f'no usual medicine for "{role}"', "medicines", fix="add it"
            )
    for i, answer in enumerate(protocol.routine.answers):
        path = f"operation.{answer.field}"
        if known_path(path) and not held_at(path).can_be(answer.is_):
            what = f'{answer.field} is never "{answer.is_}"'
            yield main.refuse("protocol.settings", what, "routine", "answers", i)
    for i, left in enumerate(protocol.summary.leaves_out):
        for value in left.is_ if known_path(left.field) else ():
            if not held_at(left.field).can_be(value):
                what = f'{left.field} is never "{value}"'
                yield main.refuse("protocol.settings", what, "summary", "leaves_out", i)
    for tier in ("A", "B", "C"):
        if tier not in protocol.tiers:
            yield main.refuse("protocol.tier", f"tier {tier} is missing", "tier", fix="add it")


def _check_rule(protocol: Protocol, source: Source, i: int, rule: Rule) -> Iterator[FollowupError]:
    for effect in rule.course:
        medicine = protocol.formulary.get(effect.medicine or "")
        if medicine and medicine.role != effect.role:
            what = f'the rule "{rule.id}" gives {effect.medicine} as {effect.role}, which it is not'
            yield source.refuse("protocol.rule", what, "rule", i)
        yield from _check_medicine(protocol, source, i, rule, effect)


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
    setting = [(place, found) for place in rules if (found := _settings_of(place[2]))]
    for ((_, _, one), ones), ((source, i, two), twos) in combinations(setting, 2):
        same = ones & twos if one.rank == two.rank else ()
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
    return parts | {deeper for part in parts for deeper in _parts(part, facts)}


def _exclude(one: FactDef, two: FactDef) -> bool:
    """Whether two tests of one field can never both hold."""
    if one.field is None or one.field != two.field:
        return False
    if one.is_ is not None and two.is_ is not None:
        return not set(one.is_) & set(two.is_)
    lows = (one.at_least, one.over, two.at_least, two.over)
    highs = (one.under, one.up_to, two.under, two.up_to)
    return none_between(lows, highs, one.over, two.over, one.under, two.under)
