"""What one sentence says of the record's fields, before anything else is known."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from followup.telling.amounts import amounts_of, figured
from followup.telling.evidence import understood
from followup.telling.lexicon import Saying
from followup.telling.matching import Place, ToldSentence, masked
from followup.telling.model import ToldValue
from followup.telling.remark import BEFORE, EYE, Remark
from followup.telling.scope import Cue, Scopes, Verdict
from followup.telling.stakes import beside_doubts, weighs


def remarks_of(sentence: ToldSentence, cues: Sequence[Cue]) -> list[Remark]:
    """Everything that a sentence says of fields, in its order; what is planned or past is none of it."""
    sayings = _sayings(sentence)
    amounts = list(amounts_of(sentence))
    deniable = frozenset(place for saying, place in sayings if saying.denied is not None)
    places = [*(place for _, place in sayings), *(one.figure for one in amounts)]
    scopes = Scopes(sentence, tuple(cues), deniable)
    verdicts = scopes.judged(places)
    said = [one for saying, place in sayings for one in _said(sentence, saying, place, verdicts[place])]
    found = [_with_its_denial(one, sentence, scopes) for one in said]
    found += [one for remark in amounts for one in figured(remark, verdicts[remark.figure])]
    found = [_guessed(one, sentence) for one in found]
    found = beside_doubts(found, sentence, scopes.idle, scopes.exceptions)
    found = understood(found, sentence, cues)
    return sorted(found, key=lambda one: (one.start, one.field))


def _guessed(one: Remark, sentence: ToldSentence) -> Remark:
    """A remark whose words were guessed is asked."""
    guessed = any(sentence.tokens[at].guessed for at in one.place.at)
    return replace(one, why="heard") if guessed and one.why is None and one.field != EYE else one


def _with_its_denial(one: Remark, sentence: ToldSentence, scopes: Scopes) -> Remark:
    """A remark with the words that deny it, so that "vitreous loss" is never shown for "no vitreous loss"."""
    denial = scopes.denials.get(one.place)
    if denial is None:
        return one
    return replace(one, shown=sentence.words(Place(tuple(sorted({*one.place.at, *denial.at})))))


def _sayings(sentence: ToldSentence) -> list[tuple[Saying, Place]]:
    """The sayings of a sentence: of those about one field that overlap, the longest."""
    lexicon = sentence.lexicon
    masks = sentence.any(lexicon.masks)
    found = [
        (saying, place)
        for saying in lexicon.says
        for place in dict.fromkeys(sentence.any(saying.forms))
        if not masked(place, masks)
        and _written(sentence, place)
        and not sentence.any(saying.unless)
        and (not saying.needs or sentence.any(saying.needs))
    ]
    return [one for one in found if not any(_hides(other, one) for other in found)]


def _hides(other: tuple[Saying, Place], one: tuple[Saying, Place]) -> bool:
    if other[0].field != one[0].field or other[1] == one[1]:
        return False
    if other[0].field == "operation.pupil_widened" and other[0].value != one[0].value:
        return set(one[1].at) < set(other[1].at)
    if other[0].value != one[0].value and not set(one[1].at) < set(other[1].at):
        return False
    return bool(set(other[1].at) & set(one[1].at)) and len(other[1].at) > len(one[1].at)


def _written(sentence: ToldSentence, place: Place) -> bool:
    """Whether an abbreviation that is another word in small letters stands in capitals."""
    tokens = (sentence.tokens[at] for at in place.at)
    return all(
        token.word not in sentence.lexicon.capitals or sentence.text[token.start : token.end].isupper()
        for token in tokens
    )


def _said(sentence: ToldSentence, saying: Saying, place: Place, verdict: Verdict) -> Iterator[Remark]:
    words = sentence.words(place)
    remark = Remark(saying.field, saying.value, words, place, saying.why)
    remark = replace(remark, weak=saying.why is not None and not saying.unsettles)
    if verdict == "past" and saying.field.startswith(BEFORE):
        verdict = "yes"
    if verdict == "no" and sentence.crosses(place):
        verdict = "unclear"
    match verdict:
        case "no" if saying.denied is not None:
            yield replace(remark, value=saying.denied, why=None)
        case "hedged no" if saying.denied is not None:
            yield replace(remark, value=saying.denied, why="hedged", also=(saying.value,))
        case _ if saying.only_denied:
            return
        case "yes":
            yield replace(remark, also=_opposite(saying), unsettles=True) if saying.unsettles else remark
        case "no" if saying.why is None:
            yield replace(remark, state="given up")
        case "hedged":
            yield replace(remark, why="hedged", also=_opposite(saying))
        case "unclear":
            yield replace(remark, why="two readings", also=_opposite(saying))
        case "tried":
            yield replace(remark, state="tried")
        case "unused" | "past" if saying.field == EYE or (weighs(saying.field) and saying.value):
            yield replace(remark, state="not now")
        case _:
            return


def _opposite(saying: Saying) -> tuple[ToldValue, ...]:
    return () if saying.denied is None else (saying.denied,)


def elsewhere_of(sentence: ToldSentence) -> Iterator[tuple[str, Place]]:
    """What a sentence tells that the record has no field for."""
    masked: list[Place] = []
    for one in sentence.lexicon.elsewhere:
        for place in dict.fromkeys(sentence.any(one.forms)):
            if _written(sentence, place) and not any(place.meets(other) for other in masked):
                masked.append(place)
                yield one.what, place
