"""What can't be so together: where two fields contradict each other neither is read, both are asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from followup.telling.model import FieldTold, Possible, ToldValue, WhyAsked
from followup.telling.phrases import QUESTIONS
from followup.telling.tables import table


def agreed(fields: Sequence[FieldTold]) -> tuple[FieldTold, ...]:
    """The fields, those that contradict another one asked."""
    by_name = {one.field: one for one in fields}
    unsure: set[str] = set()
    for pair in _pairs():
        told = [(by_name.get(field), value) for field, value in pair.items()]
        if all(one is not None and _may_be(one, value) for one, value in told):
            unsure |= {one.field for one, _ in told if one is not None and one.kind == "read"}
    for first, then in _never_smaller():
        before, after = by_name.get(first), by_name.get(then)
        if before and after and _smaller(after.value, before.value):
            unsure |= {first, then}
    return tuple(asked(one, "contradiction") if one.field in unsure else one for one in fields)


def _smaller(value: ToldValue | None, than: ToldValue | None) -> bool:
    return isinstance(value, int | float) and isinstance(than, int | float) and value < than


def _may_be(one: FieldTold, value: ToldValue) -> bool:
    if value == "*":
        return True
    if one.kind == "read":
        return type(one.value) is type(value) and one.value == value
    return any(choice.value == value and choice.words for choice in one.choices)


def asked(one: FieldTold, why: WhyAsked) -> FieldTold:
    """A field that was read, asked."""
    if one.value is None:
        return one
    choices = [Possible(one.value, one.words)]
    choices += [Possible(not one.value)] if isinstance(one.value, bool) else []
    return replace(one, kind="doubtful", value=None, question=QUESTIONS[why], choices=tuple(choices), why=why)


def _pairs() -> Sequence[Mapping[str, ToldValue]]:
    return tuple(table("together")["contradictions"])


def _never_smaller() -> Sequence[Sequence[str]]:
    return tuple(table("together")["never_smaller"])
