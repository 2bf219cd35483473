"""What a review leads to: proposals that change nothing until a surgeon signs one.

Types only; :mod:`followup.clinical.review.review` makes them.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from followup.clinical.adjustments import Adjustment
from followup.clinical.careplan import Caution, Question, Reason
from followup.clinical.plan_part import PlanPart
from followup.clinical.record.base import Eye
from followup.said import SaidText

TaperMove = Literal["raise", "hold", "lower", "keep", "none"]
"""What becomes of the steroid: keep goes on with what is ordered, none leaves it to other proposals."""


class Offer(PlanPart):
    """A pressure medicine that may be added, ``name`` being what people read: "Dorzolamide 2%, 3 times a
    day". ``cautions`` stand against it but do not forbid it; ``last_look``: how many days before its
    last one the pressure is looked at, earliest, target and latest."""

    kind: str
    medicine: str
    count: int
    name: SaidText
    by_mouth: bool = False
    last_look: tuple[int, int, int]
    cautions: tuple[SaidText, ...] = ()


class Refused(PlanPart):
    """A class of pressure medicine that is not offered, and why; ``fields`` of the record that, once they
    are answered, may have it offered."""

    kind: str
    why: SaidText
    fields: tuple[str, ...] = ()


class Proposal(PlanPart):
    """One way to go on. ``adjustments`` are what signing would change; none means "go on as planned".

    ``alternative_to`` lists proposals of which only one may be chosen; ``opposes`` those that pull
    the other way. ``today`` asks for action on the day of the look, ``senior`` for the surgeon then.
    ``treats``: it adds a pressure medicine, and can't be taken without one. ``if_signed`` says
    the adjustments in a sentence; ``cautions`` are what stands in the way or must be watched.
    """

    id: str
    eye: Eye
    on: date
    about: Literal["inflammation", "pressure", "other"]
    title: SaidText
    direction: TaperMove
    adjustments: tuple[Adjustment, ...] = ()
    offers: tuple[Offer, ...] = ()
    not_offered: tuple[Refused, ...] = ()
    alternative_to: tuple[str, ...] = ()
    opposes: tuple[str, ...] = ()
    today: bool = False
    senior: bool = False
    treats: bool = False
    if_signed: SaidText = ""
    cautions: tuple[SaidText, ...] = ()
    reasons: tuple[Reason, ...] = ()


class Outcome(PlanPart):
    """All that one look at one eye leads to.

    ``senior`` are findings for same-day senior review; with one of them there is no proposal, nothing
    else is asked, and ``now`` says what to do. ``missing`` are findings that were not seen and are needed;
    they never count as normal. ``waits`` says why proposals for the steroid are not shown yet.
    ``present_count`` are the drops of steroid due that day, ``taken_count`` those really taken.
    """

    eye: Eye
    date: date
    day: int
    expected: SaidText
    present_count: int
    taken_count: int
    senior: tuple[Caution, ...] = ()
    now: tuple[SaidText, ...] = ()
    waits: SaidText = ""
    proposals: tuple[Proposal, ...] = ()
    missing: tuple[Question, ...] = ()
    notes: tuple[Caution, ...] = ()
    response: SaidText = ""
