"""What the facts of a protocol must be: tests that a record can meet. And which of them serve nothing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from followup.clinical.protocol.checks_reviews import FACTS
from followup.clinical.protocol.facts import FactDef, bare, may_be_open
from followup.clinical.protocol.files import Files
from followup.clinical.protocol.lines import Source
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.reader import ReadFile
from followup.clinical.protocol.references import references
from followup.clinical.record.base import NOT_RECORDED
from followup.clinical.record.eye import held_at, known_path, read_by_facts
from followup.clinical.record.fields import Held
from followup.errors import FollowupError


def check_facts(protocol: Protocol, source: Source) -> Iterator[FollowupError]:
    """Every fact that stands twice, builds on one after it, or tests what no record says."""
    seen: set[str] = set()
    for i, fact in enumerate(protocol.facts):
        if fact.name in seen:
            yield source.refuse("protocol.fact", f'the fact "{fact.name}" stands twice', "fact", i)
        for name in fact.builds_on:
            if bare(name) not in seen:
                what = f'the fact "{fact.name}" builds on "{bare(name)}", which does not stand before it'
                yield source.refuse("protocol.fact", what, "fact", i)
        if fact.field is not None and not (known_path(fact.field) and read_by_facts(fact.field)):
            yield source.refuse("protocol.fact", f'no field "{fact.field}" in the record', "fact", i, "field")
        elif fact.field is not None and (wrong := _untestable(fact, held_at(fact.field))):
            what = f'the fact "{fact.name}" can never be tested: {fact.field} {wrong}'
            yield source.refuse("protocol.fact", what, "fact", i)
        for path in fact.values.values():
            if not known_path(path):
                yield source.refuse("protocol.fact", f'no field "{path}" in the record', "fact", i, "values")
        seen.add(fact.name)


def check_asked(protocol: Protocol, files: Files) -> Iterator[FollowupError]:
    """Every rule about an eye that asks for a fact about a medicine, and every caution that waits for a
    silence which counts as no."""
    of_eye = protocol.facts_of_eyes
    open_: set[str] = set()
    for fact in protocol.facts:
        open_ |= {fact.name} if may_be_open(fact, open_) else set()
    about_eyes: tuple[ReadFile[Any], ...] = (*files.rules, files.review)
    for file in about_eyes:
        for place, to, name in references(file.model):
            if to.kind == "fact" and bare(name) not in of_eye:
                what = f'"{name}" is about a medicine, and only a caution about one can ask for it'
                yield file.source.refuse(file.file.code, what, *place)
    for i, caution in enumerate(protocol.cautions.cautions):
        asked = caution.when_any or caution.when_all
        closed = [name for name in asked if bare(name) not in open_]
        each = caution.when_any and caution.fires == "not recorded"
        if "not recorded" in caution.fires and closed and (each or len(closed) == len(asked)):
            what = f'"{closed[0]}" is never {NOT_RECORDED}: its silence means yes or no'
            yield files.cautions.source.refuse("cautions.rule", what, "caution", i, "fires")


def _untestable(fact: FactDef, held: Held) -> str:
    """Why no value of the field could ever meet the test; empty where one can."""
    limits = (fact.at_least, fact.over, fact.under, fact.up_to)
    if any(limit is not None for limit in limits) and not held.is_number:
        return "is no number"
    if fact.mentions is not None and not held.is_text:
        return "is no free text"
    if fact.contains is not None and not held.is_list:
        return "is no list"
    if fact.some is not None:
        return _never_some(fact.some, held)
    wrong = [value for value in (*(fact.is_ or ()), *(fact.contains or ())) if not held.can_be(value)]
    return f"is never {_written(wrong[0])}" if wrong else ""


def _never_some(wanted: dict[str, tuple[bool | int | float | str, ...]], held: Held) -> str:
    for name, values in wanted.items():
        inner = held.entry(name)
        if inner is None:
            return f'has no "{name}"'
        wrong = [value for value in values if value != NOT_RECORDED and not inner.can_be(value)]
        if wrong:
            return f"has no {name} {_written(wrong[0])}"
    return ""


def _written(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else f'"{value}"'


def unused_facts(protocol: Protocol) -> tuple[str, ...]:
    """The facts that no rule, no caution, no row of the reviews nor the review itself asks for, and no fact
    of these.

    They harm nobody, but say that the protocol heeds what it does not.
    """
    review = protocol.review
    asked = {*FACTS}
    asked |= {bare(name) for rule in protocol.rules for name in rule.names}
    asked |= {bare(n) for row in (*review.to_see, *review.before_steroid, *review.flag) for n in row.when}
    asked |= {bare(name) for entry in review.other for name in entry.when}
    asked |= {bare(name) for entry in review.other if entry.careful for name in entry.careful.when_any}
    asked |= {
        bare(name)
        for caution in protocol.cautions.cautions
        for name in (*caution.when_any, *caution.when_all, *caution.unless)
    }
    for fact in reversed(protocol.facts):
        if fact.name in asked:
            asked |= {bare(name) for name in fact.builds_on}
    return tuple(fact.name for fact in protocol.facts if fact.name not in asked)
