"""The words of the trade in one language: what is read from ``data/<language>/*.toml``."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from followup.telling.model import ToldValue, WhyAsked
from followup.telling.tables import folder
from followup.telling.words import tokens_of

Sequence = tuple[str, ...]
"""Words that stand one after the other."""


@dataclass(frozen=True, eq=False)
class Element:
    """One place of a form: any of these phrases stands there. One object a lexicon, so that what was found of
    it in a sentence is kept by it."""

    phrases: tuple[Sequence, ...]


Group = tuple[Element, ...]
"""Places in their order, with nothing between them but words that say nothing."""


@dataclass(frozen=True, eq=False)
class Form:
    """Groups that stand near each other, in any order. ``reach``: 1 side by side, 2 across commas as well,
    3 anywhere in one sentence."""

    groups: tuple[Group, ...]
    reach: int


@dataclass(frozen=True)
class Saying:
    """What these forms say of a field. ``denied`` is what their denial says; nothing where it is None.

    ``why``: the forms alone do not settle the field, and this is why it is asked. ``only_denied``: only
    their denial says anything. ``unless``: where one of these stands in the sentence they say nothing, and
    nothing where none of ``needs`` does. ``unsettles``: with a ``why``, the field is asked even where it was
    told plainly elsewhere.
    """

    field: str
    value: ToldValue
    forms: tuple[Form, ...]
    denied: ToldValue | None = None
    why: WhyAsked | None = None
    only_denied: bool = False
    unless: tuple[Form, ...] = ()
    needs: tuple[Form, ...] = ()
    unsettles: bool = False


@dataclass(frozen=True)
class Amount:
    """A figure with its ``units``, near one of ``heads``.

    ``bare``: a figure without a unit counts too. Outside ``least`` and ``most`` it is asked, as it is
    where it is ``counted``: the figure times ``times``. ``within``: so many words may stand between.
    ``needs``: one of these stands in the same sentence. ``ends``: it is how it was in the end. ``alone``: a
    figure between stops, with a fraction and beside no words at all, may be this one and is asked. ``usual``:
    from and to, what it mostly is; a figure of nothing in there asks it where it was not told, with
    ``follows`` only a little behind that field.
    """

    field: str
    units: tuple[str, ...]
    heads: tuple[Form, ...]
    bare: bool = False
    least: float = -1000
    most: float = 1000
    times: float = 1
    counted: bool = False
    within: int = 3
    whole: bool = False
    needs: tuple[Form, ...] = ()
    ends: bool = False
    alone: bool = False
    usual: tuple[float, ...] = ()
    follows: str = ""


@dataclass(frozen=True)
class Elsewhere:
    """Things told that the record has no field for; ``what`` is a word of ``phrases.ELSEWHERE``."""

    what: str
    forms: tuple[Form, ...]


TopicWords = tuple[tuple[str, bool], ...]
"""Words that follow each other, and whether each is whole or the beginning of one."""


@dataclass(frozen=True, eq=False)
class Topic:
    """Words that speak of a field without saying what holds. ``beside``: one of these stands in the sentence
    as well, ``unless``: none of these. ``figure``: from and to, asked with a figure of nothing. ``silent``:
    fields that say the same."""

    field: str
    words: tuple[TopicWords, ...]
    beside: tuple[TopicWords, ...] = ()
    unless: tuple[TopicWords, ...] = ()
    figure: tuple[float, ...] = ()
    silent: tuple[str, ...] = ()


@dataclass(frozen=True)
class Lexicon:
    """One language. ``cues`` are the triggers of negation, hedge, time and order by kind.

    ``known`` words are never taken for others, ``sounds`` are what others may be taken for, ``guarded`` words
    are no part of one that was heard as several; ``heard`` says what several words, or one, are taken
    for. ``by_word``: the
    forms that can only stand in a sentence with one of these words.
    """

    tag: str
    elided: frozenset[str]
    skip: frozenset[str]
    subjects: frozenset[str]
    last_counts: frozenset[str]
    says: tuple[Saying, ...]
    amounts: tuple[Amount, ...]
    masks: tuple[Form, ...]
    elsewhere: tuple[Elsewhere, ...]
    anchors: tuple[Form, ...]
    own: tuple[Form, ...]
    other_operations: tuple[Form, ...]
    no_operation: tuple[Form, ...]
    both_eyes: tuple[Form, ...]
    capitals: frozenset[str]
    cues: Mapping[str, tuple[Sequence, ...]]
    number_words: Mapping[str, float]
    units: Mapping[str, tuple[Sequence, ...]]
    known: frozenset[str]
    sounds: frozenset[str]
    guarded: frozenset[str]
    heard: Mapping[Sequence, str]
    by_word: Mapping[str, AbstractSet[Form]]
    kinds: Mapping[str, tuple[Sequence, ...]]
    operation_endings: Sequence
    steps: frozenset[str]
    unit_words: frozenset[str] = frozenset()
    signs: Mapping[Sequence, str] = field(default_factory=dict)
    topics: tuple[Topic, ...] = ()
    topic_starts: Mapping[str, AbstractSet[Topic]] = field(default_factory=dict)


def languages() -> tuple[str, ...]:
    """The languages that a telling can be read in."""
    return tuple(sorted(one.name for one in folder().iterdir() if one.is_dir() and one.name[0].isalpha()))


@cache
def lexicon_of(tag: str) -> Lexicon:
    """The lexicon of a language. Raises KeyError where there is none."""
    if tag not in languages():
        raise KeyError(tag)
    files = sorted((one for one in (folder() / tag).iterdir() if one.name.endswith(".toml")), key=str)
    merged: dict[str, Any] = {}
    for file in files:
        for key, value in tomllib.loads(file.read_text(encoding="utf-8")).items():
            merged[key] = _both(merged[key], value) if key in merged else value
    return _made(tag, merged)


def _both(first: Any, last: Any) -> Any:
    if isinstance(first, dict):
        return {
            key: _both(first[key], last[key]) if key in first and key in last else (first | last)[key]
            for key in first | last
        }
    return first + last


def _made(tag: str, data: Mapping[str, Any]) -> Lexicon:
    classes: dict[str, Element] = {}
    for name, told in data["classes"].items():
        classes[name] = _class(told, classes)
    reader = _FormReader(classes)
    cues = {kind: tuple(map(sequence, told)) for kind, told in data["cues"].items()}
    units = {unit: tuple(map(sequence, told)) for unit, told in data["units"].items()}
    guarded = _words_of(cues[kind] for kind in cues if kind.startswith("negated"))
    guarded |= _words_of(units.values()) | _folded(data["numbers"]) | _folded(data["sides"])
    trade = {word for element in classes.values() for phrase in element.phrases for word in phrase}
    trade |= {
        word
        for form in reader.every(data)
        for group in form.groups
        for one in group
        for p in one.phrases
        for word in p
    }
    trade |= _folded(data["sounds"])
    known = trade | guarded | _folded(data["skip"]) | _folded(data["known"]) | _words_of(cues.values())
    topics = tuple(map(_topic, data.get("topic", ())))
    return Lexicon(
        tag=tag,
        elided=frozenset(data.get("elided", ())),
        skip=_folded(data["skip"]),
        subjects=frozenset(
            word for name in data["subjects"] for seq in classes[name].phrases for word in seq[-1:]
        ),
        last_counts=frozenset(data["last_counts"]),
        says=tuple(_saying(reader, one) for one in data["say"]),
        amounts=tuple(_amount(reader, one) for one in data["amount"]),
        masks=reader.all(data["mask"]),
        elsewhere=tuple(Elsewhere(one["what"], reader.all(one["forms"])) for one in data["elsewhere"]),
        anchors=reader.all(data["anchors"]),
        own=reader.all(data["own"]),
        other_operations=reader.all(data["other_operations"]),
        no_operation=reader.all(data["no_operation"]),
        both_eyes=reader.all(data["both_eyes"]),
        capitals=frozenset(data["capitals"]),
        cues=cues,
        number_words={word: value for told, value in data["numbers"].items() for word in sequence(told)},
        units=units,
        known=frozenset(known),
        sounds=_folded(data["sounds"]),
        guarded=frozenset(guarded),
        heard={sequence(told): sequence(word)[0] for told, word in data["heard"].items()},
        by_word=reader.by_word,
        kinds={kind: tuple(map(sequence, told)) for kind, told in data["kinds"].items()},
        operation_endings=tuple(data["operation_endings"]),
        steps=_folded(data["steps"]),
        signs={sequence(said): sign for said, sign in data.get("signs", {}).items()},
        unit_words=frozenset(_words_of(units.values())),
        topics=topics,
        topic_starts=_starts(topics),
    )


def _folded(told: Iterable[str]) -> frozenset[str]:
    return frozenset(word for text in told for word in sequence(text))


def _words_of(many: Iterable[Iterable[Sequence]]) -> set[str]:
    return {word for phrases in many for phrase in phrases for word in phrase}


def sequence(text: str) -> Sequence:
    """A phrase in folded words."""
    return tuple(token.word for token in tokens_of(text))


def _class(told: Iterable[str], classes: Mapping[str, Element]) -> Element:
    found: dict[Sequence, None] = {}
    for text in told:
        many = classes[text[1:]].phrases if text.startswith("@") else (sequence(text),)
        found.update(dict.fromkeys(many))
    return Element(tuple(found))


@dataclass(frozen=True)
class _FormReader:
    classes: Mapping[str, Element]
    words: dict[str, Element] = field(default_factory=dict)
    by_word: dict[str, set[Form]] = field(default_factory=dict)

    def all(self, told: Iterable[str]) -> tuple[Form, ...]:
        return tuple(self.form(text) for text in told)

    def every(self, data: Mapping[str, Any]) -> Iterable[Form]:
        """Every form of a lexicon."""
        for one in (*data["say"], *data["elsewhere"]):
            yield from self.all([*one["forms"], *one.get("unless", ()), *one.get("needs", ())])
        for one in data["amount"]:
            yield from self.all([*one["heads"], *one.get("needs", ())])
        for key in ("mask", "anchors", "own", "other_operations", "no_operation", "both_eyes"):
            yield from self.all(data[key])

    def form(self, text: str) -> Form:
        reach = max((len(sign) for sign in re.findall("&+", text)), default=1)
        form = Form(tuple(self._group(part) for part in re.split("&+", text)), reach)
        rarest = min((one for group in form.groups for one in group), key=lambda one: len(one.phrases))
        for phrase in rarest.phrases:
            self.by_word.setdefault(phrase[0], set()).add(form)
        return form

    def _word(self, word: str) -> Element:
        return self.words.setdefault(word, Element(((word,),)))

    def _group(self, text: str) -> Group:
        found: list[Element] = []
        for part in text.split():
            if part.startswith("@"):
                found.append(self.classes[part[1:]])
            else:
                found += [self._word(word) for word in sequence(part)]
        return tuple(found)


def _saying(reader: _FormReader, told: Mapping[str, Any]) -> Saying:
    value = tuple(told["value"]) if isinstance(told["value"], list) else told["value"]
    denied = told.get("denied", not value if isinstance(value, bool) else None)
    denied = None if denied == "nothing" else denied
    return Saying(
        told["field"],
        value,
        reader.all(told["forms"]),
        denied,
        told.get("why"),
        told.get("only_denied", False),
        reader.all(told.get("unless", ())),
        reader.all(told.get("needs", ())),
        told.get("unsettles", False),
    )


TOPIC_LETTERS = 4
"""Letters: shorter words of a topic are whole words, longer ones beginnings."""


def _topic(told: Mapping[str, Any]) -> Topic:
    def words(key: str) -> tuple[TopicWords, ...]:
        return tuple(map(_topic_words, told.get(key, ())))

    figure = tuple(map(float, told.get("figure", ())))
    silent = tuple(told.get("silent", ()))
    return Topic(told["field"], words("words"), words("beside"), words("unless"), figure, silent)


def _topic_words(text: str) -> TopicWords:
    return tuple(
        (word, part.startswith("=") or len(word) < TOPIC_LETTERS)
        for part in text.split()
        for word in sequence(part.removeprefix("="))
    )


def _starts(topics: Iterable[Topic]) -> dict[str, set[Topic]]:
    """The topics by the first letters of the words that they begin with."""
    found: dict[str, set[Topic]] = {}
    for topic in topics:
        for words in topic.words:
            found.setdefault(words[0][0][:TOPIC_LETTERS], set()).add(topic)
    return found


def _amount(reader: _FormReader, told: Mapping[str, Any]) -> Amount:
    plain = {key: value for key, value in told.items() if key not in ("units", "heads", "needs")}
    plain["usual"] = tuple(told.get("usual", ()))
    plain["needs"] = reader.all(told.get("needs", ()))
    return Amount(units=tuple(told["units"]), heads=reader.all(told["heads"]), **plain)
