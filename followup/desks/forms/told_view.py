"""A telling as the page shows it: the text with its marks, the fields with their words, what is asked."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from followup.care.fields.shape import Field, member_at
from followup.care.fields.values import Flat
from followup.care.records.telling import Read
from followup.desks.forms.problems import label_in
from followup.desks.forms.told import CarriedForm, Texts, Where, said, same, texts_of
from followup.said import Said, say
from followup.telling.model import FieldTold, Passage, Telling

# Characters between words of one field that are quoted with them.
_NEAR = 30
TYPED_ALREADY = say("You typed something else than was told. What holds?")


@dataclass(frozen=True)
class Mark:
    """A field of which something was told. ``name``: of the form's field, "" where its line was taken out;
    ``quotes``: its words; ``holds``: whether the form says what was read."""

    number: int
    name: str
    label: str
    quotes: tuple[str, ...]
    asked: bool
    holds: bool


@dataclass(frozen=True)
class ToldChoice:
    """An answer to pick. ``value``: as the form sends it; ``texts``: as the field holds it, none: not
    recorded."""

    value: str
    texts: tuple[str, ...]


@dataclass(frozen=True)
class AskedOfTold:
    """What a person must answer before the record is stored; ``picked``: the value of the answer."""

    mark: Mark
    field: Field | None
    question: Said
    choices: tuple[ToldChoice, ...]
    answered: bool
    picked: str


@dataclass(frozen=True)
class ToldPiece:
    """A stretch of the text. ``numbers``: the marks it speaks for, ``ends``: those whose words end here, and
    whether for the first time; ``left``: nothing was read from it."""

    text: str
    numbers: tuple[int, ...] = ()
    ends: tuple[tuple[Mark, bool], ...] = ()
    left: bool = False


@dataclass(frozen=True)
class Left:
    """What was told and stands in no field: what it is, or its field and value, and its words."""

    words: str
    what: Said | str = ""
    field: Field | None = None
    texts: tuple[str, ...] = ()


@dataclass(frozen=True)
class ToldView:
    """The box "What was told". ``problem``: why nothing was read; ``read``: whether something was.

    ``routine``: fields of which nothing was told and that hold the routine answer; ``hidden``: what the
    form carries, by name.
    """

    text: str = ""
    language: str = ""
    problem: str = ""
    read: bool = False
    pieces: tuple[ToldPiece, ...] = ()
    marks: Mapping[str, Mark] = field(default_factory=dict)
    asks: tuple[AskedOfTold, ...] = ()
    given_up: tuple[Left, ...] = ()
    no_place: tuple[Left, ...] = ()
    unread: tuple[Left, ...] = ()
    routine: frozenset[str] = frozenset()
    hidden: tuple[tuple[str, str], ...] = ()

    @property
    def open_asks(self) -> tuple[AskedOfTold, ...]:
        """What nobody has answered yet."""
        return tuple(ask for ask in self.asks if not ask.answered)

    @property
    def asked_names(self) -> frozenset[str]:
        """The form's fields that are asked: each has a control of its own."""
        return frozenset(ask.mark.name for ask in self.asks)


def view_of(form: Flat, found: Read, kept: CarriedForm, where: Where) -> ToldView:
    """What the page shows of a telling that was read into ``form``."""
    telling = found.telling
    marks = tuple(_marks(form, telling, kept, where))
    asks = tuple(_asks(form, marks, telling, kept))
    by_name = {mark.name: mark for _, mark in marks if mark.name}
    return ToldView(
        text=telling.text,
        language=telling.language,
        read=True,
        pieces=tuple(_pieces(telling, marks)),
        marks=by_name,
        asks=asks,
        given_up=tuple(_given_up(telling, where)),
        no_place=tuple(Left(_quote(telling, one.words), one.what) for one in telling.no_place),
        unread=tuple(Left(_quote(telling, (one,))) for one in telling.unread),
        routine=frozenset(
            name
            for name, answer in where.usual.items()
            if name not in by_name and said(form, name) == [answer]
        ),
        hidden=tuple(kept.hidden(form)),
    )


def _marks(form: Flat, telling: Telling, kept: CarriedForm, where: Where) -> Iterator[tuple[FieldTold, Mark]]:
    """By the place of their first words."""
    fields = sorted(telling.fields, key=lambda one: (one.words[:1], one.field))
    for number, one in enumerate(fields, 1):
        name = kept.name(one.field, where)
        yield (
            one,
            Mark(
                number,
                name,
                label_in(name or where.name(one.field)),
                tuple(_one(telling, words) for words in _stretches(one.words)),
                name in kept.was,
                one.kind == "read" and same(said(form, name), texts_of(name, one.value)),
            ),
        )


def _asks(
    form: Flat, marks: Iterable[tuple[FieldTold, Mark]], telling: Telling, kept: CarriedForm
) -> Iterator[AskedOfTold]:
    for one, mark in marks:
        if not mark.asked:
            continue
        here, answered = said(form, mark.name), mark.name in kept.answered
        told = [texts_of(mark.name, choice.value) for choice in one.choices]
        told += [texts_of(mark.name, one.value)] if one.value is not None else []
        choices = _choices([kept.was[mark.name][0], *told, here])
        picked = next((c.value for c in choices if same(c.texts, here)), "") if answered else ""
        member = member_at(mark.name)
        question = one.question if one.question is not None else TYPED_ALREADY
        yield AskedOfTold(
            mark, member if isinstance(member, Field) else None, question, choices, answered, picked
        )


def _choices(found: Sequence[Texts]) -> tuple[ToldChoice, ...]:
    """Each answer once, and that nothing is recorded last."""
    kept: list[Texts] = []
    for texts in found:
        if texts and not any(same(texts, one) for one in kept):
            kept.append(texts)
    return tuple(ToldChoice(json.dumps(texts), tuple(texts)) for texts in (*kept, []))


def _given_up(telling: Telling, where: Where) -> Iterator[Left]:
    for one in telling.given_up:
        name = where.name(one.field)
        member = member_at(name)
        texts = tuple(texts_of(name, one.value))
        yield Left(
            _quote(telling, one.words), label_in(name), member if isinstance(member, Field) else None, texts
        )


def _pieces(telling: Telling, marks: Sequence[tuple[FieldTold, Mark]]) -> Iterator[ToldPiece]:
    """The text cut wherever words of a mark begin or end, so that nothing of it is lost or doubled."""
    at = {0, len(telling.text)}
    for words in (*(place for one, _ in marks for place in one.words), *telling.unread):
        at |= {words.start, words.end}
    cuts = sorted(at)
    for start, end in pairwise(cuts):
        over = [
            mark.number for one, mark in marks if any(w.start <= start and end <= w.end for w in one.words)
        ]
        ends = tuple(
            (mark, min(w.end for w in one.words) == end)
            for one, mark in marks
            if any(w.end == end for w in one.words)
        )
        left = any(w.start <= start and end <= w.end for w in telling.unread)
        yield ToldPiece(telling.text[start:end], tuple(over), ends, left)


def _quote(telling: Telling, words: Iterable[Passage]) -> str:
    return " … ".join(_one(telling, one) for one in words)


def _stretches(words: Iterable[Passage]) -> list[Passage]:
    """The words with what stands between those near each other: the "possibly" of "capsule possibly torn"."""
    found: list[Passage] = []
    for one in sorted(words):
        if found and one.start - found[-1].end <= _NEAR:
            found[-1] = Passage(found[-1].start, max(found[-1].end, one.end))
        else:
            found.append(one)
    return found


def _one(telling: Telling, words: Passage) -> str:
    return " ".join(words.of(telling.text).split())
