"""The surgeon's answers to cautions, each to one caution about one course of the plan.

An answer written down without its course, as older records have it, counts only where no more than
one course can be meant; everywhere else the caution is asked again, course by course.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from followup.clinical.plan.contraindications import CautionFinding
from followup.clinical.record import Eye, Record
from followup.clinical.record.operation import CautionAnswer
from followup.said import say

Raised = Mapping[tuple[str, Eye | None], Sequence[str]]
"""By caution and eye, the keys of the courses about which it is raised."""


@dataclass(frozen=True)
class SettledFinding:
    """One finding about one course after the surgeon's answer. ``declined``: the course is not given."""

    finding: CautionFinding
    course: str
    declined: bool = False


def raised_by(found: Iterable[tuple[str, CautionFinding]]) -> Raised:
    """The courses that each caution is about, eye by eye."""
    raised: dict[tuple[str, Eye | None], list[str]] = {}
    for course, finding in found:
        raised.setdefault((finding.id, finding.eye), []).append(course)
    return raised


class AnswersOnDay:
    """What the record holds of answers on a day, looked up by caution, course and medicine.

    ``left_out`` are courses that a decision of its own has ended: no caution about them is open.
    """

    def __init__(
        self, record: Record, as_of: date, raised: Raised, left_out: frozenset[str] = frozenset()
    ) -> None:
        self._record = record
        self._left_out = left_out
        self._raised = raised
        self._past = [(o.date, i) for i, o in enumerate(record.operations) if o.date <= as_of]

    def operation(self, eye: Eye | None) -> int:
        """The operation whose answers speak of this eye: its latest, else the latest of all."""
        mine = [(day, i) for day, i in self._past if eye in (None, self._record.operations[i].eye)]
        return max(mine or self._past)[1]

    def to(self, finding: CautionFinding, course: str) -> CautionAnswer | None:
        """The answer that speaks of this course and medicine, else one that can mean no other course."""
        said = [
            answer
            for answer in self._record.operations[self.operation(finding.eye)].answers
            if answer.caution == finding.id and answer.medicine in (None, finding.medicine)
        ]
        named = next((answer for answer in said if answer.course == course), None)
        alone = len(set(self._raised.get((finding.id, finding.eye), ()))) == 1
        return named or (next((a for a in said if a.course is None), None) if alone else None)

    def both_meant(self, finding: CautionFinding) -> bool:
        """Whether an answer without a course says that both medicines of a pair are to be given."""
        said = self._record.operations[self.operation(finding.eye)].answers
        return any(a.caution == finding.id and a.course is None and a.decision == "give" for a in said)

    def settle(self, finding: CautionFinding, course: str) -> SettledFinding:
        """The finding as the answer leaves it: a note, or still open with the fields that answer it.

        What forbids can't be answered with "give", and a medicine of the plan not with "given".
        """
        answer = self.to(finding, course)
        decision = answer.decision if answer else None
        if course in self._left_out:
            decision = "do not give"
        gives = decision == "give" and finding.level != "stop"
        if (gives or decision == "do not give") and not finding.answered:
            return SettledFinding(closed(finding), course, declined=decision == "do not give")
        return SettledFinding(self._answerable(finding), course)

    def _answerable(self, finding: CautionFinding) -> CautionFinding:
        """Every open caution can be answered: another product, leaving it out, or giving it all the same."""
        index = self.operation(finding.eye)
        from_before = [
            f"in_use.{i}.continues"
            for i, entry in enumerate(self._record.in_use)
            if entry.medicine == finding.medicine
        ]
        fields = (*finding.answer_fields, f"operations.{index}.answers")
        if finding.level != "stop" or finding.answered:
            return replace(finding, answer_fields=(*fields, *from_before))
        if from_before:
            asked = say("{text} It is in use: stop it, or name what is given instead.", text=finding.text)
            return replace(finding, answer_fields=(*fields, *from_before), question=asked, blocks=True)
        otherwise = finding.instead or say(
            "{text} Choose another medicine, or leave it out.", text=finding.text
        )
        fields = (*fields, f"operations.{index}.products")
        if finding.steroid_drop:
            fields = (*fields, f"operations.{index}.no_steroid_drop")
        return replace(finding, answer_fields=fields, question=otherwise, blocks=True)


def closed(finding: CautionFinding) -> CautionFinding:
    """The finding after its answer: a note that holds and blocks nothing."""
    return replace(finding, level="note", question=None, holds=False, blocks=False, answered=True)
