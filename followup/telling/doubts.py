"""What a second figure makes of the first: a figure that belongs to nothing and would fit is asked.

A size that is said anew a sentence later ("I measured it, six and a half") can't be told from another
thing's size by its words; so neither is read.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from followup.telling.lexicon import Amount, Lexicon
from followup.telling.matching import Place, ToldSentence
from followup.telling.remark import LOOSE, Remark
from followup.telling.tables import table

_LATER = 2
"""Sentences after the one of a figure in which another may say it anew."""
_FOLLOWING = ("operation.watertight", "operation.hydrated")
"""What comes of stitches: it stands between them and what takes them out or adds to them."""
_NEXT = 1
"""Sentences from what was done to a figure that tells what came of it."""
_BEGINNING = 4
"""Words of a sentence behind which it takes back only what it says itself."""


@dataclass(frozen=True)
class _Numbers:
    """Where the sentences of a text begin."""

    begins: Sequence[int]

    def of(self, one: Remark) -> int:
        """The number of the sentence that a remark stands in."""
        return bisect_right(self.begins, one.start) - 1


def unsettled(remarks: Sequence[Remark], sentences: Sequence[ToldSentence]) -> list[Remark]:
    """The remarks; an amount is asked where a later figure, or one of its sentence, may stand for it."""
    number = _Numbers([one.tokens[0].start for one in sentences]).of
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


def by_size(remarks: Sequence[Remark], sentences: Sequence[ToldSentence]) -> list[Remark]:
    """The remarks; a field of which nothing was told asked where a figure of nothing has its usual size."""
    amounts = [one for one in sentences[0].lexicon.amounts if one.usual] if sentences else []
    number = _Numbers([one.tokens[0].start for one in sentences]).of
    told = {one.field for one in remarks}
    found = list(remarks)
    for one in remarks:
        before = [other for other in remarks if other.start < one.start]
        near = {other.field for other in before if number(one) - number(other) <= _NEXT}
        fits = {amount.field for amount in amounts if one.field == LOOSE and _usual(amount, one, near)}
        if len(fits) == 1 and not fits & told:
            found.append(replace(one, field=fits.pop(), why="missing", weak=True))
    return found


def _usual(amount: Amount, one: Remark, near: Collection[str]) -> bool:
    if not isinstance(one.value, int | float) or one.state != "done":
        return False
    least, most = amount.usual
    if amount.follows and amount.follows not in near:
        return False
    plain = not one.unit and (bool(amount.follows) or one.value != int(one.value))
    fits = one.unit in amount.units or plain
    return fits and least <= one.value <= most


def taken_back(remarks: Sequence[Remark], sentences: Sequence[ToldSentence]) -> list[Remark]:
    """The remarks; what was put in, on or through is asked where the next words may take it out again or
    add another: "air was put in and let out again", "one stitch, then another"."""
    found = list(remarks)
    number_of = _Numbers([one.tokens[0].start for one in sentences]).of
    for number, sentence in enumerate(sentences):
        for kind, fields in (("undoing", table("together")["placed"]), ("adding", ["operation.stitches"])):
            for cue in _places(sentence, kind):
                start = sentence.tokens[cue.first].start
                last = _last_before(found, sentence, sentences[number - 1] if number else None, cue)
                for at, one in enumerate(found):
                    if last is None or not (one.words == last.words or _of_one_thing(one, last)):
                        continue
                    if number_of(one) != number_of(last):
                        continue
                    if one.field in fields and one.value not in (False, 0, "none") and one.start < start:
                        found[at] = _asked(one)
    return found


def _last_before(
    remarks: Sequence[Remark], sentence: ToldSentence, before: ToldSentence | None, cue: Place
) -> Remark | None:
    """The last thing told before words that take something back, in their sentence or just before it."""
    first = (before if before and cue.first <= _BEGINNING else sentence).tokens[0].start
    at = sentence.tokens[cue.first].start
    said = [one for one in remarks if first <= one.start < at and one.field.startswith("operation.")]
    said = [one for one in said if one.field not in _FOLLOWING]
    return max(said, key=lambda one: one.start, default=None)


def _of_one_thing(one: Remark, other: Remark) -> bool:
    """Whether both are of the stitches."""
    return {one.field, other.field} <= {"operation.stitches", "operation.stitches_absorbable"}


def _places(sentence: ToldSentence, kind: str) -> list[Place]:
    return [place for phrase in sentence.lexicon.cues.get(kind, ()) for place in sentence.phrase(phrase)]


def _asked(one: Remark) -> Remark:
    if one.state != "done" or one.why is not None:
        return one
    return replace(one, why="two readings", also=(False,) if one.value is True else one.also)


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
