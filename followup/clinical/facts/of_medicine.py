"""The facts that speak for or against giving one medicine: asked of one eye, or by mouth of both."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

from followup.clinical.facts.derive import Fact, Facts, any_so, truth
from followup.clinical.protocol.cautions import CautionSet
from followup.clinical.protocol.facts import bare
from followup.clinical.record import Eye, Record
from followup.clinical.record.base import BOTH_EYES
from followup.clinical.record.eye import EyeContext
from followup.clinical.record.given import GivenMedicine


@dataclass(frozen=True)
class MedicineFacts:
    """Each asked once; ``eyes`` are those that the medicine reaches."""

    eyes: tuple[EyeContext, ...]
    known: tuple[Facts, ...] = field(compare=False, repr=False)

    def ask(self, name: str) -> Fact:
        """So ("not name": not so) in one of the eyes; else not recorded if it is that in one."""
        told = []
        for known in self.known:
            fact = known[bare(name)]
            told.append(fact if name == fact.name else replace(fact, value=truth(name, known)))
        return any_so(name, told) if len(told) > 1 else told[0]


def medicine_facts(
    record: Record, eye: Eye | None, given: GivenMedicine, as_of: date | None, cautions: CautionSet
) -> MedicineFacts:
    """``eye`` None: by mouth, so that both eyes count. Reviews after ``as_of`` are not looked at."""
    reached = BOTH_EYES if eye is None else (eye,)
    eyes = tuple(
        EyeContext(
            record,
            _latest(record, one),
            as_of or date.max,
            cautions.roles,
            cautions.recent_days,
            side=one,
            given=given,
        )
        for one in reached
    )
    return MedicineFacts(eyes, tuple(Facts(eye, cautions.facts) for eye in eyes))


def _latest(record: Record, eye: Eye) -> int | None:
    mine = [(o.date, i) for i, o in enumerate(record.operations) if o.eye == eye]
    return max(mine)[1] if mine else None
