"""From all that was said of a field to one reading, or to a question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from followup.clinical.record.fields import held
from followup.telling.model import FieldTold, Passage, Possible, ToldValue, WhyAsked
from followup.telling.phrases import QUESTIONS


@dataclass(frozen=True)
class Remark:
    """One thing said of a field; ``sure`` is False behind a hedge."""

    field: str
    value: ToldValue
    words: tuple[Passage, ...]
    sure: bool = True
    why: WhyAsked = "hedged"


def settled(field: str, remarks: Sequence[Remark]) -> FieldTold:
    """What the remarks on one field come to."""
    words = tuple(sorted({place for one in remarks for place in one.words}))
    if held(field).is_list if _plain(field) else False:
        return _list(field, remarks, words)
    sure = [one for one in remarks if one.sure]
    values = list(dict.fromkeys(one.value for one in sure))
    if len(values) == 1 and not any(one.value != values[0] for one in remarks):
        return FieldTold(field, "read", words, values[0])
    possible = _possible(field, remarks)
    why = "contradiction" if len(values) > 1 else remarks[0].why
    return FieldTold(field, "doubtful", words, None, QUESTIONS[why], possible, why)


def _plain(field: str) -> bool:
    return not any(part.isdigit() for part in field.split("."))


def _list(field: str, remarks: Sequence[Remark], words: tuple[Passage, ...]) -> FieldTold:
    together = tuple(dict.fromkeys(str(v) for one in remarks for v in _each(one.value)))
    if all(one.sure for one in remarks):
        return FieldTold(field, "read", words, together)
    sure = tuple(dict.fromkeys(str(v) for one in remarks if one.sure for v in _each(one.value)))
    choices = [Possible(together, words)]
    if sure:
        choices.append(Possible(sure, tuple(p for one in remarks if one.sure for p in one.words)))
    return FieldTold(field, "doubtful", words, None, QUESTIONS["hedged"], tuple(choices), "hedged")


def _each(value: ToldValue) -> tuple[ToldValue, ...]:
    return value if isinstance(value, tuple) else (value,)


def _possible(field: str, remarks: Sequence[Remark]) -> tuple[Possible, ...]:
    found: dict[ToldValue, list[Passage]] = {}
    for one in remarks:
        found.setdefault(one.value, []).extend(one.words)
    if all(isinstance(value, bool) for value in found):
        for value in (True, False):
            found.setdefault(value, [])
    return tuple(Possible(value, tuple(dict.fromkeys(words))) for value, words in found.items())
