"""What was done in the end: corrections, attempts, changes from one thing to another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache

from followup.telling.matching import ToldSentence
from followup.telling.remark import LOOSE, Remark
from followup.telling.scope import Cue
from followup.telling.tables import table

_WHOSE = ("eye", "operation.procedure")
_NEAR = 8
"""Words that say something between a word of order and what it is about."""
_BEGINNING = 4
"""Words of a sentence behind which a cue is about its own sentence and not the one before."""
_SHORT_WHILE = 60
"""Characters between two sentences of which the second corrects the first."""
_WHILE = 2
"""Sentences before a mistake was noticed, of which it is not sure whom they were about."""


@dataclass
class Ordering:
    """The remarks so far. Each sentence is added with what its words of order do to those before."""

    remarks: list[Remark]
    begins: list[int] = field(default_factory=list)

    def add(self, sentence: ToldSentence, found: list[Remark], cues: Sequence[Cue]) -> None:
        base = len(self.remarks)
        self.begins.append(sentence.tokens[0].start)
        if not found and base and _goes_on_unsure(sentence, cues):
            self._unsure(base - 1)
        self.remarks += found
        for cue in cues:
            if cue.kind not in _ACTS:
                continue
            at = sentence.tokens[cue.place.first].start
            before = [
                i for i, one in enumerate(self.remarks) if one.start < at and not _inside(one, sentence, cue)
            ]
            after = [i for i in range(base, len(self.remarks)) if self.remarks[i].start > at]
            after = [
                i
                for i in after
                if self._gap(sentence, cue.place.last + 1, self.remarks[i].place.first) <= _NEAR
            ]
            _ACTS[cue.kind](self, sentence, cue, before, after)

    def _gap(self, sentence: ToldSentence, start: int, end: int) -> int:
        return sentence.weight(start, end) if start <= end else 0

    def mark(self, at: int, **changes: object) -> None:
        self.remarks[at] = replace(self.remarks[at], **changes)  # type: ignore[arg-type]

    def corrected(self, sentence: ToldSentence, cue: Cue, before: list[int], after: list[int]) -> None:
        """ "no sorry", "I mean": what follows stands in the place of what was said of the same thing."""
        near = [i for i in before if self._recent(sentence, cue, i)]
        hit = False
        for later in after:
            if self.remarks[later].field == LOOSE:
                self._named(near, later)
            same = [i for i in near if self._same(i, later)]
            for i in same:
                self.mark(i, state="taken back")
                hit = True
        if near and after and not hit:
            self._unsure(near[-1])

    def _named(self, near: list[int], later: int) -> None:
        """A figure alone after a correction is one of what the last figure before was."""
        unit = self.remarks[later].unit
        for i in reversed(near):
            if self.remarks[i].unit is not None and (not unit or self.remarks[i].unit in ("", unit)):
                self.mark(later, field=self.remarks[i].field)
                return

    def _same(self, earlier: int, later: int) -> bool:
        return self.remarks[earlier].field == self.remarks[later].field

    def _unsure(self, at: int) -> None:
        if self.remarks[at].why is None:
            self.mark(at, why="two readings")

    def erased(self, sentence: ToldSentence, cue: Cue, before: list[int], after: list[int]) -> None:
        """ "scratch that": what was said last does not stand."""
        if before and self._recent(sentence, cue, before[-1]):
            last = self.remarks[before[-1]]
            for i in before:
                if self.remarks[i].words == last.words:
                    self.mark(i, state="taken back")
            for later in after[:1]:
                if self.remarks[later].field == LOOSE:
                    self._named([before[-1]], later)

    def changed(self, sentence: ToldSentence, cue: Cue, before: list[int], after: list[int]) -> None:
        """ "changed to", "replaced by": what was before it for the same field was given up."""
        for later in after[:2]:
            for i in reversed(before):
                if self._same(i, later) and self.remarks[i].value != self.remarks[later].value:
                    self._given_up(i)
                    state = "done" if self.remarks[later].state == "tried" else self.remarks[later].state
                    self.mark(later, state=state, when=1)

    def mistaken(self, sentence: ToldSentence, cues: Sequence[Cue]) -> None:
        """ "No, that was the woman before": a thing said of somebody else, or of the other eye.

        What the sentence before said does not stand; what was said a little before that is asked.
        """
        if min(cue.place.first for cue in cues if cue.kind == "mistaken") > _BEGINNING or not self.begins:
            return
        begun = self.begins[-_WHILE:]
        for i in range(len(self.remarks)):
            if self.remarks[i].start >= begun[-1]:
                self.mark(i, state="taken back")
            elif self.remarks[i].start >= begun[0] and self.remarks[i].field not in _WHOSE:
                self._unsure(i)

    def failed(self, sentence: ToldSentence, cue: Cue, before: list[int], after: list[int]) -> None:
        """ "not possible", "did not work": what was said last was given up."""
        before = [i for i in before if self.remarks[i].field != LOOSE]
        if before and self._happened(sentence, cue, self.remarks[before[-1]]):
            return
        before = [i for i in before if self.remarks[i].field not in _happenings()]
        if before and self._recent(sentence, cue, before[-1]):
            last = self.remarks[before[-1]]
            for i in before:
                one = self.remarks[i]
                again = isinstance(one.value, tuple) and (one.field, one.value) == (last.field, last.value)
                if again or _overlap(one, last):
                    self._given_up(i)

    def _happened(self, sentence: ToldSentence, cue: Cue, one: Remark) -> bool:
        """Whether what "did not open" is a thing that happens by itself: the capsule."""
        here = one.start >= sentence.tokens[0].start and one.place.last < cue.place.first
        gap = self._gap(sentence, one.place.last + 1, cue.place.first)
        return here and one.field in _happenings() and gap == 0

    def _given_up(self, at: int) -> None:
        """What was tried was not done; one of several things that was done and did not do is asked."""
        one = self.remarks[at]
        if one.state == "done" and isinstance(one.value, tuple):
            self.mark(at, why="two readings")
        elif one.state in ("done", "tried"):
            self.mark(at, state="given up")

    def at_the_end(self, sentence: ToldSentence, cue: Cue, before: list[int], after: list[int]) -> None:
        """ "at the end": how it was when the operation was over."""
        here = [i for i in before if self.remarks[i].start >= sentence.tokens[0].start]
        last = [i for i in here if self._gap(sentence, self.remarks[i].place.last + 1, cue.place.first) <= 3]
        apart = any(token.word == "," for token in sentence.tokens[cue.place.first - 1 : cue.place.first])
        for i in last[-2:] if cue.place.first > 2 and not apart else []:
            self.mark(i, when=1)
        for i in after:
            self.mark(i, when=1)

    def at_first(self, sentence: ToldSentence, cue: Cue, before: list[int], after: list[int]) -> None:
        """ "at first": how it was before something was done about it."""
        here = [i for i in before if self.remarks[i].start >= sentence.tokens[0].start]
        for i in after[:1] if cue.place.first < 2 or not here else here[-1:]:
            self.mark(i, when=-1)

    def worked(self, sentence: ToldSentence, cue: Cue, before: list[int], after: list[int]) -> None:
        """ "successfully": what was tried was done."""
        for i in [*before[-1:], *after[:1]]:
            if self.remarks[i].state == "tried":
                self.mark(i, state="done")

    def _recent(self, sentence: ToldSentence, cue: Cue, at: int) -> bool:
        """Whether a remark lies just before a cue: in its sentence, or at the end of the one before."""
        one, begins = self.remarks[at], sentence.tokens[0].start
        if one.start >= begins:
            return self._gap(sentence, one.place.last + 1, cue.place.first) <= _NEAR
        between = " ".join(sentence.text[one.words[-1].end : begins].split())
        return cue.place.first <= 6 and len(between) < _SHORT_WHILE


@cache
def _happenings() -> frozenset[str]:
    return frozenset(table("together")["happenings"])


def _goes_on_unsure(sentence: ToldSentence, cues: Sequence[Cue]) -> bool:
    """Whether a sentence takes up the one before with a hedge: "Well, a strand perhaps"."""
    kinds = {cue.kind for cue in cues}
    takes_up = any(cue.kind == "goes_on" and cue.place.first == 0 for cue in cues)
    return takes_up and "hedged_far" in kinds


def _overlap(one: Remark, other: Remark) -> bool:
    return any(
        some.start < place.end and place.start < some.end for some in one.words for place in other.words
    )


def _inside(one: Remark, sentence: ToldSentence, cue: Cue) -> bool:
    return one.start >= sentence.tokens[0].start and bool(set(one.place.at) & set(cue.place.at))


_ACTS = {
    "repair": Ordering.corrected,
    "erase": Ordering.erased,
    "changed": Ordering.changed,
    "failed": Ordering.failed,
    "worked": Ordering.worked,
    "at_the_end": Ordering.at_the_end,
    "at_first": Ordering.at_first,
}
