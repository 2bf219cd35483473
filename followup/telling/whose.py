"""Whose and of when it is what a sentence says, where it does not speak of this operation alone.

What a sentence says of another eye or another patient is none of this operation. What stands in it before
those are named, or after words such as "this one", is of this one and asked; so is all that a sentence says
beside a wish, a habit or a lesson.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from followup.telling.matching import ToldSentence
from followup.telling.remark import EYE, Remark
from followup.telling.scope import Cue

_OTHERS = ("other_eye", "another_patient", "mistaken")
_REACH = 25
"""Words, as far as a wish or a habit reaches in a sentence without stops."""
_PARTS = frozenset((",", ":", "(", ")", "–", "—", "-"))


def of_this_one(found: Sequence[Remark], sentence: ToldSentence, cues: Sequence[Cue]) -> list[Remark]:
    """The remarks of a sentence; those of another patient left out, those that may be of another asked."""
    kinds = {cue.kind for cue in cues}
    if not kinds & set(_OTHERS):
        return [asked(one) if _beside(one, cues) else one for one in found]
    ours = _ours(sentence, cues)
    told = [replace(asked(one), ours=True) if _within(one, ours) else one for one in found]
    return told if kinds & set(_OTHERS) == {"other_eye"} else [one for one in told if one.ours]


def _beside(one: Remark, cues: Sequence[Cue]) -> bool:
    """Whether a remark stands near a word of a wish, a habit or a lesson."""
    return any(
        cue.kind == "elsewhen"
        and (one.place.first <= cue.place.last + _REACH and cue.place.first - _REACH <= one.place.last)
        for cue in cues
    )


def _ours(sentence: ToldSentence, cues: Sequence[Cue]) -> frozenset[int]:
    """The words, by number, of the parts of a sentence that are of this operation."""
    of_others = {at for cue in cues if cue.kind in _OTHERS for at in cue.place.at}
    of_this = {at for cue in cues if cue.kind == "this_one" for at in cue.place.at}
    ours: set[int] = set()
    is_ours = True
    for part in _parts(sentence):
        is_ours = not part & of_others and (is_ours or bool(part & of_this))
        ours |= part if is_ours else set()
    return frozenset(ours)


def _parts(sentence: ToldSentence) -> list[set[int]]:
    parts: list[set[int]] = [set()]
    for at, token in enumerate(sentence.tokens):
        if token.word in _PARTS and _stands_apart(sentence, at):
            parts.append(set())
        parts[-1].add(at)
    return parts


def _stands_apart(sentence: ToldSentence, at: int) -> bool:
    """Whether a sign is no hyphen inside a word."""
    tokens = sentence.tokens
    glued = (
        0 < at < len(tokens) - 1
        and tokens[at - 1].end == tokens[at].start
        and tokens[at].end == tokens[at + 1].start
    )
    return not glued


def _within(one: Remark, ours: frozenset[int]) -> bool:
    return set(one.place.at) <= ours


def asked(one: Remark) -> Remark:
    """A remark that settles nothing by itself."""
    if one.state != "done" or one.why is not None or one.field == EYE:
        return one
    other = (not one.value,) if isinstance(one.value, bool) else one.also
    return replace(one, why="two readings", also=other, weak=True)
