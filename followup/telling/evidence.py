"""How much of a sentence must be understood before what it says is read.

What nearly every operation tells is read from any sentence. What is told seldom, or weighs much, is asked
where its sentence holds words that nothing was read from: there they may say something else of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

from followup.telling.matching import Place, ToldSentence
from followup.telling.numbers import figures_of
from followup.telling.remark import EYE, LOOSE, NOWHERE, Remark
from followup.telling.scope import Cue
from followup.telling.tables import table

_DRUG = "drug."


def understood(found: Sequence[Remark], sentence: ToldSentence, cues: Sequence[Cue]) -> list[Remark]:
    """The remarks of a sentence; those that need its other words understood asked where they are not."""
    if not any(map(_needs_evidence, found)) or _idle(sentence, found, cues) < _most():
        return list(found)
    return [replace(one, why="more") if _needs_evidence(one) else one for one in found]


def _needs_evidence(one: Remark) -> bool:
    sure = one.state == "done" and one.why is None
    told_by_most = one.field in _common() or one.field in (EYE, LOOSE) or one.field.startswith(_DRUG)
    return sure and not told_by_most


def _idle(sentence: ToldSentence, found: Sequence[Remark], cues: Sequence[Cue]) -> int:
    """How many words of a sentence say something that nothing was made of."""
    places = [cue.place for cue in cues] + [one.place for one in figures_of(sentence)]
    places += [one.place for one in found if one.field != LOOSE]
    places += [one.figure for one in found if one.field != LOOSE and one.figure != NOWHERE]
    used = {at for place in (*places, *_named(sentence)) for at in place.at}
    quiet = sentence.lexicon.skip | sentence.lexicon.unit_words
    return sum(
        token.kind == "word" and at not in used and token.word not in quiet
        for at, token in enumerate(sentence.tokens)
    )


def _named(sentence: ToldSentence) -> list[Place]:
    """What a sentence names that no field is read from: other operations, what has no place."""
    lexicon = sentence.lexicon
    forms = [form for one in lexicon.elsewhere for form in one.forms]
    forms += [*lexicon.masks, *lexicon.anchors, *lexicon.own, *lexicon.other_operations]
    return sentence.any([*forms, *lexicon.no_operation, *lexicon.both_eyes])


@cache
def _common() -> frozenset[str]:
    return frozenset(table("together")["common"])


def _most() -> int:
    most: int = table("together")["idle_words"]
    return most
