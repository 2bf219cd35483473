"""A told operation read into the fields of the record."""

from __future__ import annotations

import re
from collections.abc import Iterator

from followup.clinical.record.base import Eye
from followup.telling.lexicon import Lexicon
from followup.telling.matching import Place, Sentence
from followup.telling.model import FieldTold, NoPlace, NotThisText, Passage, Telling
from followup.telling.numbers import Figure, figures_of
from followup.telling.phrases import CONTROL, ELSEWHERE, EMPTY, TOO_LONG
from followup.telling.scope import Scopes, cues_of
from followup.telling.sentences import sentences_of
from followup.telling.settling import Remark, settled
from followup.telling.words import tokens_of

LONGEST = 20_000
"""Characters: nobody tells one operation in more words."""
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufeff]")


def read_telling(text: str, lexicon: Lexicon, eye: Eye | None = None) -> Telling:
    """What ``text`` tells of an operation on ``eye``, in the language of the lexicon.

    ``eye`` is what was typed and pointed at; without it the telling's own eye is only reported. Nothing
    is raised: a text that is not one told operation comes back with ``refused`` and without fields.
    """
    refused = _not_a_text(text)
    if refused is not None:
        return Telling(text, lexicon.tag, refused=refused)
    remarks: list[Remark] = []
    unread: list[Passage] = []
    no_place: list[NoPlace] = []
    for tokens in sentences_of(text, tokens_of(text)):
        sentence = Sentence(tokens, lexicon)
        found = list(_remarks(sentence))
        elsewhere = list(_elsewhere(sentence))
        remarks += found
        no_place += elsewhere
        if not found and not elsewhere:
            unread.append(Passage(tokens[0].start, tokens[-1].end))
    fields = _settled(remarks)
    return Telling(text, lexicon.tag, fields=fields, unread=tuple(unread), no_place=tuple(no_place))


def _not_a_text(text: str) -> NotThisText | None:
    if len(text) > LONGEST:
        return NotThisText("too long", TOO_LONG)
    if found := _CONTROL.search(text):
        return NotThisText("control", CONTROL, (Passage(found.start(), found.end()),))
    if not any(sign.isalpha() for sign in text):
        return NotThisText("empty", EMPTY)
    return None


def _remarks(sentence: Sentence) -> Iterator[Remark]:
    lexicon = sentence.lexicon
    masks = sentence.any(lexicon.masks)
    found = [
        (saying, place)
        for saying in lexicon.says
        for place in sentence.any(saying.forms)
        if not any(mask.meets(place) and not place.covers(mask) for mask in masks)
    ]
    found = [
        (saying, place)
        for saying, place in found
        if not any(
            other is not place
            and one.field == saying.field
            and len(other.at) > len(place.at)
            and other.covers(place)
            for one, other in found
        )
    ]
    scopes = Scopes(sentence, cues_of(sentence))
    verdicts = scopes.judged([place for _, place in found])
    for saying, place in found:
        verdict = verdicts[place]
        words = _words(sentence, place)
        if verdict == "yes":
            yield Remark(saying.field, saying.value, words)
        elif verdict == "no" and saying.denied is not None:
            yield Remark(saying.field, saying.denied, words)
        elif verdict in ("hedged", "unclear"):
            yield Remark(
                saying.field, saying.value, words, False, "hedged" if verdict == "hedged" else "two readings"
            )
    yield from _amounts(sentence)


def _amounts(sentence: Sentence) -> Iterator[Remark]:
    for figure in figures_of(sentence):
        best: tuple[int, Remark] | None = None
        for amount in sentence.lexicon.amounts:
            if figure.unit not in amount.units and not (amount.bare and not figure.unit):
                continue
            for head in sentence.any(amount.heads):
                gap = _gap(sentence, figure, head)
                if gap is not None and (best is None or gap < best[0]):
                    words = _words(sentence, head) + _words(sentence, figure.place)
                    best = (gap, Remark(amount.field, _figure(figure.value), tuple(sorted(words))))
        if best is not None:
            yield best[1]


def _gap(sentence: Sentence, figure: Figure, head: Place) -> int | None:
    if head.meets(figure.place):
        return None
    if head.last < figure.place.first:
        between = (head.last + 1, figure.place.first)
    else:
        between = (figure.place.last + 1, head.first)
    gap = sentence.weight(*between)
    gap += 3 * sum(token.word == "," for token in sentence.tokens[between[0] : between[1]])
    return gap if gap <= 4 else None


def _figure(value: float) -> int | float:
    return int(value) if value == int(value) else value


def _words(sentence: Sentence, place: Place) -> tuple[Passage, ...]:
    """The stretches of text that the words of a place make, neighbours joined."""
    runs: list[Passage] = []
    last = None
    for number in place.at:
        token = sentence.tokens[number]
        if last is not None and number == last + 1:
            runs[-1] = Passage(runs[-1].start, token.end)
        else:
            runs.append(token.place)
        last = number
    return tuple(runs)


def _elsewhere(sentence: Sentence) -> Iterator[NoPlace]:
    for one in sentence.lexicon.elsewhere:
        for place in sentence.any(one.forms):
            yield NoPlace(ELSEWHERE[one.what], _words(sentence, place))


def _settled(remarks: list[Remark]) -> tuple[FieldTold, ...]:
    by_field: dict[str, list[Remark]] = {}
    for one in remarks:
        by_field.setdefault(one.field, []).append(one)
    return tuple(settled(field, found) for field, found in by_field.items())
