"""What a second figure makes of the first: a figure that belongs to nothing and would fit is asked.

A size that is said anew a sentence later ("I measured it, six and a half") can't be told from another
thing's size by its words; so neither is read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from followup.telling.lexicon import Lexicon
from followup.telling.matching import ToldSentence
from followup.telling.remark import LOOSE, Remark

_LATER = 2
"""Sentences after the one of a figure in which another may say it anew."""


def unsettled(remarks: Sequence[Remark], sentences: Sequence[ToldSentence]) -> list[Remark]:
    """The remarks; an amount is asked where a later figure, or one of its sentence, may stand for it."""
    begins = [one.tokens[0].start for one in sentences]

    def number(one: Remark) -> int:
        return sum(begin <= one.start for begin in begins) - 1

    loose = [(number(one), one) for one in remarks if one.field == LOOSE]
    anew = [any(_says_anew(sentence)) for sentence in sentences]

    def may_be(one: Remark) -> Remark:
        at = number(one)
        lexicon = sentences[at].lexicon
        others = [
            other.value
            for where, other in loose
            if at <= where <= at + _LATER and _fits(lexicon, one, other, near=where == at or anew[where])
        ]
        return replace(one, why="two readings", also=tuple(dict.fromkeys(others))) if others else one

    return [may_be(one) if _a_sure_amount(one) else one for one in remarks]


def _a_sure_amount(one: Remark) -> bool:
    return one.unit not in (None, "clock") and one.state == "done" and one.why is None and one.field != LOOSE


def _says_anew(sentence: ToldSentence) -> Sequence[object]:
    return [place for phrase in sentence.lexicon.cues["anew"] for place in sentence.phrase(phrase)]


def _fits(lexicon: Lexicon, one: Remark, other: Remark, *, near: bool) -> bool:
    """Whether a figure of nothing could be the amount: in its bounds, of its unit or near with none."""
    if other.value == one.value or not isinstance(other.value, int | float):
        return False
    if other.unit != one.unit and not (near and "" in (one.unit, other.unit)):
        return False
    if not other.unit and not near:
        return False
    takes = [amount for amount in lexicon.amounts if amount.field == _plain(one.field)]
    return any(
        (other.unit in amount.units or (not other.unit and (amount.bare or near)))
        and amount.least <= other.value * amount.times <= amount.most
        and not (amount.whole and other.value != int(other.value))
        for amount in takes
    )


def _plain(field: str) -> str:
    return "drug.mg" if field.startswith("operation.steroid.") else field
