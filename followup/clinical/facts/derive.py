"""Facts: named statements about one eye, three-valued, each with the fields it came from.

Which facts exist is data (``facts.toml``); this module only knows how a statement is tested. A fact
is ``True``, ``False`` or ``None`` for "not recorded". Facts come from the record alone, never from
rules, and a fact may only build on facts that stand before it, so no circle is possible.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from operator import ge, gt
from typing import Any

from pydantic import BaseModel

from followup.clinical.careplan import FactUse
from followup.clinical.english import day_words, joined, listed
from followup.clinical.protocol.facts import FactDef, Scalar, bare
from followup.clinical.record.base import NOT_RECORDED
from followup.clinical.record.eye import EyeContext, ReadFrom, held_at
from followup.clinical.record.given import Told
from followup.said import JoinedText, Said, fill, say
from followup.typed import typed

_WORD = re.compile(r"[^\W_]+")
# More than so many things that are not so are told by the name of the whole.
_MOST_PARTS = 4
YES_OR_NO: Mapping[bool | None, str] = {True: "yes", False: "no", None: NOT_RECORDED}


@dataclass(frozen=True)
class FactTold:
    """What is said of a fact. ``words`` is its value, or the figure it was read from.

    ``holds`` is what is so of this eye, in words for people. ``answers`` are the fields that could settle
    or change it: a caution may only ever go away because one of them was filled in.
    """

    words: str
    fields: tuple[str, ...]
    holds: str = ""
    answers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fact:
    """``value`` None means not recorded. Of hundreds few are ever told: what they say is made when asked."""

    name: str
    value: bool | None
    tell: Callable[[], FactTold] = field(compare=False, repr=False)

    @cached_property
    def told(self) -> FactTold:
        return self.tell()

    @property
    def answers(self) -> tuple[str, ...]:
        return self.told.answers

    def use(self) -> FactUse:
        told = self.told
        return FactUse(fact=self.name, value=told.words, fields=told.fields, holds=told.holds)


class Facts(dict[str, Fact]):
    """The facts of one eye by name. Rules ask for a third of them: each is derived when first asked for."""

    def __init__(self, context: EyeContext, definitions: Mapping[str, FactDef]) -> None:
        super().__init__()
        self._context, self._definitions = context, definitions

    def __missing__(self, name: str) -> Fact:
        fact = self[name] = _derive(self._definitions[name], self._context, self)
        return fact


def _derive(definition: FactDef, context: EyeContext, facts: Mapping[str, Fact]) -> Fact:
    if definition.field is None:
        return _combine(definition, facts)
    read = context.read(definition.field)
    value, witnesses = _test(definition, read.value)
    if read.value is None and definition.no_where:
        value = False if any(truth(name, facts) for name in definition.no_where) else None
    return Fact(definition.name, value, lambda: _tell(definition, context, facts, value, read, witnesses))


def _tell(
    definition: FactDef,
    context: EyeContext,
    facts: Mapping[str, Fact],
    value: bool | None,
    read: ReadFrom,
    witnesses: Sequence[Told],
) -> FactTold:
    """What is said of a fact that was read from the record."""
    said, fields, answers = read.value, read.fields, read.answers
    if said is None and definition.no_where:
        answers = _once((answers, *(facts[bare(name)].answers for name in definition.no_where)))
    if witnesses:
        fields, answers = _once(w.fields for w in witnesses), _once(w.answers for w in witnesses)
    silent = definition.absent == "yes" and said in (None, ())
    words = _words(said, value)
    if silent:
        words = say("{not_recorded}, so counted as yes", not_recorded=NOT_RECORDED)
    holds = "" if definition.otherwise == "" and not value else _said(definition, context)
    holds = holds or _stated(definition, None if silent and definition.unknown else value)
    return FactTold(words, fields, holds, answers)


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
    parts = [(truth(name, facts), facts[bare(name)]) for name in definition.parts]
    value, deciding = _decided(parts, by=definition.all_of is None)
    if value and definition.first_of:
        deciding = deciding[:1]
    # Where it is open, what nobody wrote down is what keeps it so; but it was read from them all.
    read = deciding if value is not None else [fact for _, fact in parts]

    def tell() -> FactTold:
        holds = _combined(definition, value, once(fact.told.holds for fact in deciding))
        return FactTold(YES_OR_NO[value], _fields(read), holds, _answers(deciding))

    return Fact(definition.name, value, tell)


def any_so(name: str, facts: Sequence[Fact], *, by: bool = True) -> Fact:
    """Whether one of some facts is so (``by`` False: all of them), told by those that decide it."""
    value, deciding = _decided([(fact.value, fact) for fact in facts], by=by)
    return Fact(
        name, value, lambda: FactTold(YES_OR_NO[value], _fields(deciding), answers=_answers(deciding))
    )


def _fields(facts: Iterable[Fact]) -> tuple[str, ...]:
    return _once(fact.told.fields for fact in facts)


def _answers(facts: Iterable[Fact]) -> tuple[str, ...]:
    return _once(fact.answers for fact in facts)


def _decided(parts: Sequence[tuple[bool | None, Fact]], *, by: bool) -> tuple[bool | None, list[Fact]]:
    """``by`` if one part says that, else not recorded if one is open; with the parts that decide it."""
    values = [value for value, _ in parts]
    value = by if by in values else None if None in values else not by
    return value, [fact for one, fact in parts if one is value]


def _once(parts: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(field for part in parts for field in part))


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
    fact = bare(name)
    value = facts[fact].value
    return value if fact == name or value is None else not value


def _test(definition: FactDef, said: Any) -> tuple[bool | None, Sequence[Told]]:
    """Whether it is so, with what tells it where that is more than a field of the record."""
    if definition.some is None:
        return _plain(definition, said), ()
    fits = [(_all_fit(definition, entry), entry) for entry in said or ()]
    values = [value for value, _ in fits]
    told = [entry for value, entry in fits if value and isinstance(entry, Told)]
    return (True if True in values else None if None in values else False), told


def _plain(definition: FactDef, said: Any) -> bool | None:
    if definition.present is not None:
        return (said is not None) is definition.present
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


def _all_fit(definition: FactDef, entry: Any) -> bool | None:
    """Whether an entry of a list fits every wanted value; unknown where only silence is in the way."""
    fits = [_fits(getattr(entry, name), values) for name, values in (definition.some or {}).items()]
    for limits, reaches in ((definition.some_at_least, ge), (definition.some_over, gt)):
        amounts = [(getattr(entry, name), limit) for name, limit in limits.items()]
        fits += [None if amount is None else reaches(amount, limit) for amount, limit in amounts]
    return False if False in fits else None if None in fits else True


def _fits(value: Any, wanted: tuple[Scalar, ...]) -> bool | None:
    if value is None:
        return True if NOT_RECORDED in wanted else None
    if isinstance(value, tuple):
        return any(one in wanted for one in value)
    return value in wanted


def _words(said: Any, value: bool | None) -> str:
    if said is None or said == ():
        return YES_OR_NO[value]
    if isinstance(said, bool) or (isinstance(said, tuple) and any(isinstance(one, Told) for one in said)):
        # The fact's own value: that of the field may be its opposite.
        return YES_OR_NO[bool(value)]
    if isinstance(said, tuple):
        return ", ".join(_entry(part) for part in said)
    if isinstance(said, BaseModel):
        return "recorded"
    return str(said)


def _entry(part: Any) -> str:
    if not isinstance(part, BaseModel):
        return str(part)
    return " ".join(str(v) for v in part.model_dump(exclude_none=True).values())
