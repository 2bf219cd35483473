"""What a review leads to: proposals that change nothing until a surgeon signs one.

Types only; :mod:`followup.clinical.review` makes them.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from followup.clinical.careplan import Adjustment, Caution, Line, Question, Reason
from followup.clinical.record.base import Eye

Direction = Literal["raise", "hold", "lower", "none"]


class Offer(Line):
    """A pressure medicine that may be added: ``cautions`` stand against it but do not forbid it."""

    kind: str
    medicine: str
    count: int
    cautions: tuple[str, ...] = ()


class Refused(Line):
    """A class of pressure medicine that is not offered, and why."""

    kind: str
    why: str


class Proposal(Line):
    """One way to go on. ``adjustments`` are what signing would change; none means "go on as planned".

    ``alternative_to`` lists proposals of which only one may be chosen; ``opposes`` those that pull
    the other way. ``today`` asks for action on the day of the look.
    """

    id: str
    eye: Eye
    on: date
    about: Literal["inflammation", "pressure", "other"]
    title: str
    direction: Direction
    adjustments: tuple[Adjustment, ...] = ()
    offers: tuple[Offer, ...] = ()
    not_offered: tuple[Refused, ...] = ()
    alternative_to: tuple[str, ...] = ()
    opposes: tuple[str, ...] = ()
    today: bool = False
    reasons: tuple[Reason, ...] = ()


class Outcome(Line):
    """All that one look at one eye leads to.

    ``senior`` are findings for same-day senior review; with one of them there is no proposal.
    ``missing`` are findings that were not seen and are needed; they never count as normal.
    """

    eye: Eye
    date: date
    day: int
    expected: str
    present_count: int
    senior: tuple[Caution, ...] = ()
    proposals: tuple[Proposal, ...] = ()
    missing: tuple[Question, ...] = ()
    notes: tuple[Caution, ...] = ()
    response: str = ""
