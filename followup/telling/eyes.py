"""Which eye a telling is about by its own words; it is compared with the eye entered, never used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from followup.clinical.record.base import Eye
from followup.clinical.record.eye import OTHER
from followup.telling.model import EyeTold, NotThisText
from followup.telling.phrases import BOTH_EYES, another_eye
from followup.telling.remark import EYE, Remark
from followup.telling.stakes import weighs
from followup.telling.whose import asked

_PROCEEDING = ("operation.procedure", "operation.anaesthesia")
_LENS = ("operation.lens", "operation.lens_power", "operation.cut_mm", "operation.capsulorhexis_mm")


@dataclass(frozen=True)
class SentenceTold:
    """What one sentence told. ``other``: it is about the eye that was not operated on by its own words;
    ``now``: it says what was done this time; ``turn``: that it was this eye's turn, "then the left"."""

    remarks: tuple[Remark, ...]
    other: bool
    both: bool
    now: bool = False
    turn: bool = False

    @property
    def sides(self) -> frozenset[Eye]:
        return frozenset(
            _side(one)
            for one in self.remarks
            if one.field == EYE and one.state == "done" and (one.ours or not self.other)
        )

    @property
    def tells_which(self) -> bool:
        """Whether its sides are of the operated eye: beside another eye only with the procedure itself."""
        if not self.other:
            return True
        told = {one.field for one in self.remarks if one.ours and one.state == "done"}
        return {EYE, "operation.procedure"} <= told

    @property
    def named(self) -> frozenset[Eye]:
        """The sides that it names, also as done before or to be done."""
        return self.sides | {
            _side(one) for one in self.remarks if one.field == EYE and one.state == "not now"
        }

    @property
    def proceeds(self) -> bool:
        """Whether it tells which operation was done, how the eye was numbed, or the lens behind its side."""
        told = [one.field for one in self.remarks if one.state == "done"]
        headed = any(one.field == EYE and one.place.first == 0 for one in self.remarks)
        named = (*_PROCEEDING, *_LENS) if headed else _PROCEEDING
        return any(name in named or (self.turn and name.startswith("operation.")) for name in told)


def _side(one: Remark) -> Eye:
    return "right" if one.value == "right" else "left"


def eyes_told(told: Sequence[SentenceTold]) -> tuple[EyeTold, ...]:
    """The eyes that the telling says were operated on: the one named first, and any that has a procedure."""
    some = [one for one in told if one.sides and one.tells_which]
    operating = [one for one in some if one.proceeds or one is some[0]]
    found: dict[Eye, list[Remark]] = {}
    for sentence in operating:
        for one in sentence.remarks:
            if one.field == EYE and one.state == "done" and (one.ours or not sentence.other):
                found.setdefault(_side(one), []).append(one)
    return tuple(
        EyeTold(side, tuple(sorted(place for one in said for place in one.words)))
        for side, said in found.items()
    )


def not_this_eye(
    told: Sequence[SentenceTold], eyes: Sequence[EyeTold], eye: Eye | None
) -> NotThisText | None:
    """Why the telling is not about one operation on ``eye``."""
    words = tuple(place for one in eyes for place in one.words)
    if any(one.both for one in told) or len(eyes) > 1:
        return NotThisText("both eyes", BOTH_EYES, words)
    if eye is not None and eyes and eyes[0].eye != eye:
        return NotThisText("another eye", another_eye(eyes[0].eye, eye), words)
    if eye is not None and not eyes:
        return _only_the_other(told, eye)
    return None


def _only_the_other(told: Sequence[SentenceTold], eye: Eye) -> NotThisText | None:
    """Where only the other eye is said to be done now, and the entered one nowhere but as done before."""
    for one in told:
        others = [each for each in one.remarks if each.field == EYE and _side(each) != eye]
        if one.now and others and others[0].state == "done":
            return NotThisText("another eye", another_eye(_side(others[0]), eye), others[0].words)
        before = [each for each in one.remarks if each.field == EYE and each.state == "not now"]
        if one.now and one.other and before and _side(before[0]) == eye:
            return NotThisText("another eye", another_eye(OTHER[eye], eye), before[0].words)
    return None


def of_each_eye(told: Sequence[SentenceTold], eye: Eye | None) -> list[SentenceTold]:
    """The sentences; what one about the other eye says of an operation is none of this one."""
    return [
        _other(one)
        if one.other
        else _before_the_other(one)
        if eye and one.named and eye not in one.named
        else one
        for one in told
    ]


def _before_the_other(told: SentenceTold) -> SentenceTold:
    """What stands before the other side is named may be of this eye: asked, where it weighs little."""
    first = min(one.place.first for one in told.remarks if one.field == EYE)
    return _other(
        replace(
            told,
            remarks=tuple(
                replace(asked(one), ours=True) if one.place.last < first and not weighs(one.field) else one
                for one in told.remarks
            ),
        )
    )


def _other(told: SentenceTold) -> SentenceTold:
    kept = tuple(
        replace(one, field=f"other_{one.field}") if one.field.startswith("eye.") else one
        for one in told.remarks
        if one.ours or not one.field.startswith(("operation.", "drug."))
    )
    return replace(told, remarks=tuple(one for one in kept if one.field != EYE))
