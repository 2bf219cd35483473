"""Facts: named statements about one operated eye, three-valued, each with the fields it came from.

Which facts exist is data (``facts.toml``); this module only knows how a statement is tested. A fact
is ``True``, ``False`` or ``None`` for "not recorded". Facts come from the record alone, never from
rules, and a fact may only build on facts that stand before it, so no circle is possible.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from operator import ge, gt
from typing import Any

from pydantic import BaseModel

from followup.clinical.careplan import FactUse
from followup.clinical.english import day_words, joined, listed
from followup.clinical.protocol.facts import FactDef, Scalar, bare
from followup.clinical.record.base import NOT_RECORDED
from followup.clinical.record.eye import EyeContext, held_at
from followup.said import JoinedText, Said, fill, say
from followup.typed import typed

_WORD = re.compile(r"[^\W_]+")
# More than so many things that are not so are told by the name of the whole.
_MOST_PARTS = 4


@dataclass(frozen=True)
class Fact:
    """``value`` None means not recorded; ``words`` is that value, or the figure it was read from.

    ``holds`` is what is so of this eye, in words for people.
    """

    name: str
    value: bool | None
    words: str
    fields: tuple[str, ...]
    holds: str = ""

    def use(self) -> FactUse:
        return FactUse(fact=self.name, value=self.words, fields=self.fields, holds=self.holds)


def derive_facts(context: EyeContext, definitions: Iterable[FactDef]) -> dict[str, Fact]:
    """All facts of one operated eye, in the order of their definitions."""
    facts: dict[str, Fact] = {}
    for definition in definitions:
        facts[definition.name] = _derive(definition, context, facts)
    return facts


def _derive(definition: FactDef, context: EyeContext, facts: Mapping[str, Fact]) -> Fact:
    if definition.field is None:
        return _combine(definition, facts)
    said = context.value(definition.field)
    value = _test(definition, said)
    words = _words(said, value)
    if definition.absent == "yes" and said in (None, ()):
        words = say("{not_recorded}, so counted as yes", not_recorded=NOT_RECORDED)
    holds = "" if definition.otherwise == "" and not value else _said(definition, context)
    silent = definition.absent == "yes" and said in (None, ())
    holds = holds or _stated(definition, None if silent and definition.unknown else value)
    return Fact(definition.name, value, words, context.fields(definition.field), holds)


def _said(definition: FactDef, context: EyeContext) -> str:
    """What the record says, in the fact's own sentence; empty where it does not say all of it."""
    values = {name: (context.value(path), path) for name, path in definition.values.items()}
    if not definition.said or any(value in (None, ()) for value, _ in values.values()):
        return ""
    told = {name: _told(value, held_at(path).is_text) for name, (value, path) in values.items()}
    return fill(definition.said, **told)


def _told(value: Any, is_text: bool) -> str:
    if isinstance(value, date):
        return day_words(value)
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple):
        return listed(map(str, value))
    return typed(value) if is_text else str(value)


def _stated(definition: FactDef, value: bool | None) -> str:
    about = definition.about
    if value:
        return about
    if value is None:
        own = definition.unknown
        return say("not written down: {about}", about=about) if own is None else own
    return say("not so: {about}", about=about) if definition.otherwise is None else definition.otherwise


def _combine(definition: FactDef, facts: Mapping[str, Fact]) -> Fact:
    names = definition.any_of if definition.any_of is not None else definition.all_of
    assert names is not None
    parts = [(truth(name, facts), facts[bare(name)], name) for name in names]
    deciding = definition.any_of is not None
    if any(v is deciding for v, _, _ in parts):
        value: bool | None = deciding
        parts = [part for part in parts if part[0] is deciding]
    else:
        value = None if any(v is None for v, _, _ in parts) else not deciding
    fields = tuple(dict.fromkeys(field for _, fact, _ in parts for field in fact.fields))
    words = {True: "yes", False: "no", None: NOT_RECORDED}[value]
    # Where it is open, what nobody wrote down is what keeps it so.
    said = once(fact.holds for v, fact, _ in parts if v is value or value is not None)
    return Fact(definition.name, value, words, fields, _combined(definition, value, said))


def _combined(definition: FactDef, value: bool | None, parts: str) -> str:
    """A fact made of others says which of them are so; where it is not, its own words come first."""
    own = {True: None, False: definition.otherwise, None: definition.unknown}[value]
    if own is not None:
        return own
    if value is not True and parts.count("; ") >= _MOST_PARTS:
        return _stated(definition, value)
    return parts or _stated(definition, value)


def once(statements: Iterable[str]) -> str:
    """Statements of facts one after the other; what two of them say both stands once."""
    parts = list(dict.fromkeys(part for held in statements for part in _apart(held) if part))
    return parts[0] if len(parts) == 1 else joined(parts, "; ")


def _apart(held: str) -> Sequence[str]:
    if isinstance(held, JoinedText) and held.sign == "; ":
        return held.texts
    return (held,) if isinstance(held, Said) else held.split("; ")


def truth(name: str, facts: Mapping[str, Fact]) -> bool | None:
    """The value of ``name``, or of its opposite where it is written "not name"."""
    value = facts[bare(name)].value
    if name == bare(name) or value is None:
        return value
    return not value


def _test(definition: FactDef, said: Any) -> bool | None:
    if definition.present is not None:
        return (said is not None) is definition.present
    if definition.some is not None:
        return _some(definition, said)
    if said is None or said == ():
        return {"no": False, "yes": True, "not recorded": None}[definition.absent]
    if definition.is_ is not None:
        return said in definition.is_
    if definition.contains is not None:
        return any(wanted in said for wanted in definition.contains)
    if definition.mentions is not None:
        words = set(_WORD.findall(str(said).casefold()))
        return any(word in words for word in definition.mentions)
    return _within(definition, float(said))


def _within(definition: FactDef, number: float) -> bool:
    return (
        (definition.at_least is None or number >= definition.at_least)
        and (definition.over is None or number > definition.over)
        and (definition.under is None or number < definition.under)
        and (definition.up_to is None or number <= definition.up_to)
    )


def _some(definition: FactDef, entries: Any) -> bool | None:
    """Whether one entry of a list fits every wanted value; unknown where only silence is in the way."""
    outcome: bool | None = False
    for entry in entries or ():
        fits = [_fits(getattr(entry, name), values) for name, values in (definition.some or {}).items()]
        for limits, reaches in ((definition.some_at_least, ge), (definition.some_over, gt)):
            amounts = [(getattr(entry, name), limit) for name, limit in limits.items()]
            fits += [None if amount is None else reaches(amount, limit) for amount, limit in amounts]
        if all(fits):
            return True
        if all(fit is not False for fit in fits):
            outcome = None
    return outcome


def _fits(value: Any, wanted: tuple[Scalar, ...]) -> bool | None:
    if value is None:
        return True if NOT_RECORDED in wanted else None
    return value in wanted


def _words(said: Any, value: bool | None) -> str:
    if said is None or said == ():
        return NOT_RECORDED if value is None else {True: "yes", False: "no"}[value]
    if isinstance(said, bool):
        # The fact's own value: that of the field may be its opposite.
        return "yes" if value else "no"
    if isinstance(said, tuple):
        return ", ".join(_entry(part) for part in said)
    if isinstance(said, BaseModel):
        return "recorded"
    return str(said)


def _entry(part: Any) -> str:
    if not isinstance(part, BaseModel):
        return str(part)
    return " ".join(str(v) for v in part.model_dump(exclude_none=True).values())
