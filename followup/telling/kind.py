"""Of which kind a text is: one told operation on a lens that was done, or something else.

It is read only where it tells a step of such an operation as done: not under the heading of a plan, a lesson
or a letter, not beside a future, a rule or an order (temporality after ConText, Harkema 2009, whose scope is
the sentence or the section), and not as a thing of another time or another eye. Where another operation is
told as done, it must name the operation on the lens as well. Operations are known by the ends of their names.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from followup.telling.matching import ToldSentence
from followup.telling.model import FieldTold, NotThisText
from followup.telling.phrases import ANOTHER_OPERATION, NOT_DONE, NOTHING
from followup.telling.remark import Remark
from followup.telling.scope import Cue

_NOT_NOW = frozenset(
    (
        "elsewhen",
        "year",
        "past_before",
        "past_after",
        "unused",
        "unused_after",
        "other_eye",
        "another_patient",
    )
)
_OF_OTHERS = frozenset(("other_eye", "another_patient", "family", "aside"))
_STEPS = frozenset(
    f"operation.{name}"
    for name in (
        *("procedure", "capsulorhexis_mm", "capsulorhexis_whole", "phaco_energy", "lens", "lens_power"),
        *("toric_axis", "capsule_stain", "capsule_torn", "capsule_whole", "lens_left", "tension_ring"),
        *("cut_mm", "synechiae_broken", "iris_torn", "pupil_widened", "pupil_after_mm", "vitreous_lost"),
        "halted",
    )
)
_OURS = frozenset(
    f"operation.{name}" for name in ("procedure", "capsulorhexis_mm", "capsulorhexis_whole", "phaco_energy")
)
_BEFORE = 3
"""Words between what says that an operation was earlier and its name."""
_TOLD = _STEPS | frozenset(
    f"operation.{name}"
    for name in (
        *("viscoelastic.removed", "viscoelastic.substance", "hydrated", "vitrectomy", "pupil_before_mm"),
        "antibiotic_in_chamber",
    )
)
_FEW, _SOME = 5, 3
"""Steps, and sentences, of which fewer say nothing of the whole."""
_DONE = 2
"""Sentences that tell a step as done, from which on a text that may be none is asked and not refused."""
_NOTE = 20
"""Words of a short note, of which it is no wonder that it tells few steps."""
_HEADING = 5
"""Words behind the first of a heading in which its colon stands."""
_FIRST = 2
"""Sentences of a text in which a heading needs no colon."""
_REACH = 10
"""Words that say something, as far as another time, eye or patient is followed."""
_SPAN = 4
"""Words between a time and the operation that it is counted from."""
_ORDERS = 2
"""Orders from which on a text is a lesson or an instruction."""


@dataclass(frozen=True)
class Kind:
    """What one sentence says of the kind of its text. ``tells``: something of an operation; ``away``: as to
    come, as a rule or as long ago; ``step``: one of an operation on a lens, done; ``ours``: which one;
    ``another``: another operation, done; ``named``: another operation at all; ``words``: how many."""

    tells: bool
    away: bool
    step: bool
    ours: bool
    another: bool
    named: bool
    heading: Literal["", "plain", "marked"]
    now: bool
    looked_again: bool
    undone: bool
    claim: bool
    orders: int
    anchored: bool
    words: int


def kind_of(sentence: ToldSentence, cues: Sequence[Cue], found: Sequence[Remark]) -> Kind:
    """The kind of a sentence, of which ``found`` was read."""
    kinds = {cue.kind for cue in cues}
    looked_again = _looked_again(sentence)
    past = _Past(sentence, cues, looked_again)
    told = [one for one in found if one.field.startswith(("operation.", "drug."))]
    sure = [one for one in told if one.state == "done" and one.why is None and not looked_again]
    own, other = list(_own(sentence)), _others(sentence)
    beside = any(one.field == "operation.combined_with" for one in sure)
    anchored = bool(sentence.any(sentence.lexicon.anchors))
    conditional = _has(sentence, "future")
    return Kind(
        tells=bool(own)
        or any(one.field in _TOLD for one in told)
        or _has(sentence, "cataract")
        or (conditional and anchored),
        away=conditional or _has(sentence, "lesson") or looked_again,
        step=any(one.field in _STEPS for one in sure) or any(not past.at(at) for at in own),
        ours=any(one.field in _OURS and not _earlier(sentence, one.place.first) for one in sure)
        or any(not past.at(at) for at in _surgery(sentence)),
        another=beside
        or (not kinds & _OF_OTHERS and any(one and not past.at(at) for at, one in other.items())),
        named=bool(other),
        heading=_heading(sentence, "heading"),
        now=bool(kinds & {"this_time", "turn"}) or bool(_heading(sentence, "opening")),
        looked_again=looked_again,
        undone=_has(sentence, "undone"),
        claim=_has(sentence, "claim") and not conditional,
        orders=_orders(sentence),
        anchored=anchored,
        words=sum(token.kind == "word" for token in sentence.tokens),
    )


def _phrases(sentence: ToldSentence, kind: str) -> Iterable[tuple[int, int]]:
    for phrase in sentence.lexicon.kinds.get(kind, ()):
        for place in sentence.phrase(phrase):
            yield place.first, place.last


def _has(sentence: ToldSentence, kind: str) -> bool:
    return any(True for _ in _phrases(sentence, kind))


def _heading(sentence: ToldSentence, kind: str) -> Literal["", "plain", "marked"]:
    """Whether a sentence begins with a heading, and one with a colon."""
    ends = [last for first, last in _phrases(sentence, kind) if sentence.weight(0, first) == 0]
    if not ends:
        return ""
    marked = any(token.word == ":" for token in sentence.tokens[: max(ends) + _HEADING])
    return "marked" if marked else "plain"


@dataclass(frozen=True)
class _Past:
    """Which words of a sentence stand near one of another time, another eye or another patient."""

    sentence: ToldSentence
    cues: Sequence[Cue]
    whole: bool

    def at(self, at: int) -> bool:
        return self.whole or any(
            cue.kind in _NOT_NOW and self._near(cue.place.first, cue.place.last, at) for cue in self.cues
        )

    def _near(self, first: int, last: int, at: int) -> bool:
        return self.sentence.weight(last + 1, at) <= _REACH and self.sentence.weight(at + 1, first) <= _REACH


def _own(sentence: ToldSentence) -> Iterable[int]:
    """Where it names a step of an operation on a lens, more than the illness."""
    illness = {at for first, last in _phrases(sentence, "illness") for at in range(first, last + 1)}
    places = sentence.any(sentence.lexicon.own)
    return (place.first for place in places if not set(place.at) <= illness)


def _others(sentence: ToldSentence) -> dict[int, bool]:
    """Where another operation is named; whether as one, and not as an earlier one or by its illness alone."""
    illness = {at for first, last in _phrases(sentence, "illness") for at in range(first, last + 1)}
    endings, steps = sentence.lexicon.operation_endings, sentence.lexicon.steps
    named = {place.first: set(place.at) for place in sentence.any(sentence.lexicon.other_operations)}
    named |= {first: {first, last} for first, last in _phrases(sentence, "again")}
    named |= {
        at: {at}
        for at, token in enumerate(sentence.tokens)
        if token.word.endswith(endings) and token.word not in steps
    }
    return {at: not words <= illness and not _earlier(sentence, at) for at, words in named.items()}


def _looked_again(sentence: ToldSentence) -> bool:
    """Whether a time is counted from an operation: "day one after phaco"."""
    spans = [last for _, last in _phrases(sentence, "spans")]
    operated = [first for first, _ in _phrases(sentence, "operated")]
    return any(
        any(0 < first - span <= _SPAN for span in spans) and any(0 < at - last <= _SPAN for at in operated)
        for first, last in _phrases(sentence, "since")
    )


def _surgery(sentence: ToldSentence) -> Iterable[int]:
    """Where it names the operation on a cataract as the one told: not "yesterday's cataract operation"."""
    surgery = [first for first, _ in _phrases(sentence, "surgery")]
    for first, last in _phrases(sentence, "cataract"):
        beside = any(0 < at - last <= 2 or 0 < first - at <= 3 for at in surgery)
        if beside and not _earlier(sentence, first):
            yield first


def _earlier(sentence: ToldSentence, at: int) -> bool:
    """Whether a word before says that it was another time: "after the phaco", "last year's phaco"."""
    return any(0 < at - last <= _BEFORE for _, last in _phrases(sentence, "earlier"))


def _orders(sentence: ToldSentence) -> int:
    """Clauses that begin with an order: "make the cut, fill the chamber"."""
    begins = [0, *(at + 1 for at, token in enumerate(sentence.tokens) if token.word in (",", ":"))]
    orders = {first for first, _ in _phrases(sentence, "order")}
    told_to = {first for first, _ in _phrases(sentence, "told_to")}
    to_you = sum(last + 1 in told_to for _, last in _phrases(sentence, "you"))
    return sum(at in orders for at in begins) + to_you


def not_ours(kinds: Sequence[Kind]) -> NotThisText | None:
    """Why a text is no told operation on a lens; None where it is one."""
    if not any(one.anchored for one in kinds):
        another = any(one.named for one in kinds)
        return NotThisText("another operation", ANOTHER_OPERATION) if another else _nothing()
    if _surely_not_done(kinds) or (_mostly_not_done(kinds) and sum(one.step for one in kinds) < _DONE):
        return NotThisText("not done", NOT_DONE)
    ours = any(one.ours for one in kinds)
    step = ours or any(one.step for one in kinds)
    if (any(one.another for one in kinds) and not ours) or (any(one.named for one in kinds) and not step):
        return NotThisText("another operation", ANOTHER_OPERATION)
    return None if step else _nothing()


def unsure(kinds: Sequence[Kind], fields: Sequence[FieldTold]) -> bool:
    """Whether it is not sure that a text tells an operation on a lens that was done: each field is asked.

    So it is where only another operation is named; where few steps are told in more words than a short note
    has, or beside the name of another one, or without the name of this one; and where most of it stands under
    a heading, or a third is told as to come.
    """
    told = [one for one in kinds if one.tells]
    if _mostly_not_done(kinds) or (len(told) >= _SOME and sum(one.away for one in told) * 3 >= len(told)):
        return True
    ours, others = any(one.ours for one in kinds), any(one.named for one in kinds)
    if others and not ours:
        return True
    named = ours and not others
    short = named and sum(one.words for one in kinds) < _NOTE
    return not short and sum(one.field in _TOLD for one in fields) < _FEW


def _nothing() -> NotThisText:
    return NotThisText("nothing", NOTHING)


def _surely_not_done(kinds: Sequence[Kind]) -> bool:
    """Whether a text says that nothing was done, is a claim, a list of orders, or a look at an operation."""
    if any(one.undone or one.claim for one in kinds) or (kinds and kinds[0].looked_again):
        return True
    ordered = sum(one.orders > 0 for one in kinds)
    return sum(one.orders for one in kinds) >= _ORDERS and 3 * ordered >= sum(one.tells for one in kinds)


def _mostly_not_done(kinds: Sequence[Kind]) -> bool:
    """Whether most of what a text tells stands under a heading, or is told as to come or as long ago."""
    headed = False
    told: list[bool] = []
    by_heading = False
    for number, one in enumerate(kinds):
        heading = one.heading == "marked" or (one.heading == "plain" and number < _FIRST)
        headed = (headed or heading) and not one.now
        if one.tells:
            told.append(headed or one.away)
            by_heading |= headed
    least = 1 if by_heading else 2
    return len(told) >= least and sum(told) > len(told) / 2
