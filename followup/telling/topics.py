"""What a telling speaks of without a phrase that says what holds: asked, never read.

A sentence may tell in words that no phrase knows. Where one of its words belongs to a field of which nothing
was told anywhere, the field is asked with those words; where it needs a figure, with a figure that belongs to
nothing. What is planned, past or of another eye asks nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, get_args, get_origin

from followup.clinical.record.fields import held
from followup.telling.lexicon import TOPIC_LETTERS, Topic, TopicWords
from followup.telling.matching import Place, ToldSentence
from followup.telling.model import FieldTold, Passage, Possible, ToldValue
from followup.telling.phrases import QUESTIONS
from followup.telling.remark import LOOSE, Remark
from followup.telling.scope import Cue, Scopes

_STEROID = "operation.steroid."
_AWAY = ("past", "unused")


def asked_by_topic(
    fields: Sequence[FieldTold],
    spoken: Sequence[tuple[ToldSentence, Sequence[Cue]]],
    remarks: Sequence[Remark],
) -> tuple[FieldTold, ...]:
    """The fields, and those that the sentences ``spoken`` speak of with nothing told, asked. ``remarks``:
    what the whole text says."""
    found = {one.field: one for one in fields}
    # What was taken back or given up was told as well.
    said = {*found, *(one.field for one in remarks)}
    loose = [one for one in remarks if one.field == LOOSE]
    for sentence, cues in spoken:
        for topic in _possible(sentence):
            name = _name(topic.field, sentence, found)
            if not name or name in said or any(one in found for one in topic.silent):
                continue
            figures = [one for one in loose if _fits(topic, one) and _within(one, sentence)]
            if topic.figure and not figures:
                continue
            if place := _place(topic, sentence, cues):
                found[name] = _asked(name, sentence.words(place), figures)
                said.add(name)
    return tuple(found[name] for name in sorted(found))


def _within(one: Remark, sentence: ToldSentence) -> bool:
    return sentence.tokens[0].start <= one.start < sentence.tokens[-1].end


def _possible(sentence: ToldSentence) -> Sequence[Topic]:
    """The topics that a word of the sentence may begin, in the order of the lexicon."""
    starts = sentence.lexicon.topic_starts
    found = {one for begin in sentence.beginnings for one in starts.get(begin, ())}
    return [one for one in sentence.lexicon.topics if one in found]


def _name(field: str, sentence: ToldSentence, found: Mapping[str, FieldTold]) -> str:
    """The field by its line: what is said of a steroid belongs to the one of its sentence."""
    if not field.startswith(_STEROID):
        return field
    part = field.removeprefix(_STEROID)
    start, end = sentence.tokens[0].start, sentence.tokens[-1].end
    lines = {name.split(".")[2] for name in found if name.startswith(_STEROID)}
    here = {
        name.split(".")[2]
        for name, one in found.items()
        if name.startswith(_STEROID) and any(start <= place.start < end for place in one.words)
    }
    line = min(here, default="" if lines else "0")
    return f"{_STEROID}{line}.{part}" if line else ""


def _place(topic: Topic, sentence: ToldSentence, cues: Sequence[Cue]) -> Place | None:
    """Where a sentence speaks of a field, not as planned or past; None where it does not."""
    if any(_places(words, sentence) for words in topic.unless):
        return None
    places = [place for words in topic.words for place in _places(words, sentence)]
    if topic.beside:
        others = [place for words in topic.beside for place in _places(words, sentence)]
        places = [place for place in places if any(not set(place.at) & set(one.at) for one in others)]
    if not places:
        return None
    verdicts = Scopes(sentence, tuple(cues)).judged(places)
    return next((place for place in places if verdicts[place] not in _AWAY), None)


def _places(words: TopicWords, sentence: ToldSentence) -> list[Place]:
    if words[0][0][:TOPIC_LETTERS] not in sentence.beginnings:
        return []
    tokens = sentence.tokens
    return [
        Place(tuple(range(start, start + len(words))))
        for start in range(len(tokens) - len(words) + 1)
        if all(
            token.word == word if whole else token.word.startswith(word)
            for token, (word, whole) in zip(tokens[start:], words, strict=False)
        )
    ]


def _fits(topic: Topic, one: Remark) -> bool:
    """Whether a figure that belongs to nothing can be the one that a topic asks with."""
    if not topic.figure or not isinstance(one.value, int | float):
        return False
    least, most = topic.figure
    return least <= one.value <= most


def _asked(name: str, words: tuple[Passage, ...], figures: Sequence[Remark]) -> FieldTold:
    choices = [Possible(one.value, one.words) for one in figures] or [Possible(value) for value in _all(name)]
    shown = tuple(sorted({*words, *(place for one in figures for place in one.words)}))
    return FieldTold(name, "doubtful", shown, None, QUESTIONS["missing"], tuple(choices), "missing")


def _all(name: str) -> Sequence[ToldValue]:
    """What a field can hold, where that is one of few."""
    if name.startswith(_STEROID):
        kind = held("operation.steroid").entry(name.rpartition(".")[2])
    else:
        kind = held(name)
    for one in kind.kinds if kind else ():
        if get_origin(one) is Literal:
            return get_args(one)
        if one is bool:
            return (True, False)
    return ()
