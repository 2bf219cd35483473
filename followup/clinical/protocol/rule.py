"""What a rule of the protocol can say: when it fires, and what it then wants.

A rule holds conditions on facts and any of these effects. How effects of several rules are joined
(envelope, longest, earliest, union, strictest) belongs to the mechanism, not to the rule.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, StrictBool, StrictInt, field_validator, model_validator

from followup.clinical.careplan import Tier
from followup.clinical.protocol.parts import ProtocolPart, Reasoned
from followup.clinical.protocol.references import (
    FactRef,
    FieldRef,
    FindingRef,
    LookRef,
    MedicineRef,
    Names,
    NeedRef,
    SentenceRef,
    TaperRef,
)
from followup.clinical.record.base import MedicineRole
from followup.said import SaidLine, SaidText

DailyCount = StrictInt | Literal["hourly", "2-hourly"]
LONGEST_DAYS = 400
"""No course runs and no look is asked for beyond so many days: more is a slip of the pen."""
MOST_WEIGHT = 1000
_EDGE = re.compile(r"(?:([FL])\+)?([0-9]{1,4})")


class StepDef(ProtocolPart):
    """``count`` a day for ``days`` days; "hourly" and "2-hourly" mean hours awake."""

    count: DailyCount
    days: StrictInt = Field(ge=1, le=LONGEST_DAYS)

    @field_validator("count")
    @classmethod
    def _at_least_one(cls, count: DailyCount) -> DailyCount:
        if isinstance(count, int) and not 1 <= count <= 16:
            raise ValueError("a count is 1 to 16 a day")
        return count


def _steps(raw: object) -> object:
    """Accept the short form ``[[4, 7], [3, 7]]``: count, days."""
    if isinstance(raw, (list, tuple)):
        return [
            {"count": s[0], "days": s[1]} if isinstance(s, (list, tuple)) and len(s) == 2 else s for s in raw
        ]
    return raw


def _rises(steps: tuple[StepDef, ...]) -> bool:
    rank = [{"hourly": 16, "2-hourly": 8}.get(str(s.count), s.count) for s in steps]
    return any(int(b) > int(a) for a, b in pairwise(rank))


class Taper(Reasoned):
    """A named course of steroid; ``name`` is what people call it.

    From step ``weaker_from`` on (0 is the first) a weaker steroid is given.
    """

    id: str = Field(pattern=r"^[A-Z][A-Za-z0-9]*$")
    name: SaidText = ""
    steps: tuple[StepDef, ...] = Field(min_length=1)
    weaker_from: StrictInt | None = Field(None, ge=1)

    _short = field_validator("steps", mode="before")(_steps)

    @property
    def words(self) -> str:
        """What the course is called among people; its id where the protocol gives no name."""
        return self.name or f"taper {self.id}"

    @model_validator(mode="after")
    def _only_falls(self) -> Taper:
        if _rises(self.steps):
            raise ValueError("the count rises along the taper")
        if self.weaker_from is not None and self.weaker_from >= len(self.steps):
            raise ValueError("weaker_from lies past the last step (0 is the first)")
        return self


class CourseEffect(ProtocolPart):
    """Asks for a course of ``role``: a named taper (steroid), steps, or so many days at the label's count.

    ``replaces`` names a taper that this one stands in for where both would fire. ``from_day`` is
    counted from the operation (0); without it the course begins on the first drop day.
    """

    role: MedicineRole
    taper: TaperRef | None = None
    steps: tuple[StepDef, ...] | None = Field(None, min_length=1)
    days: StrictInt | None = Field(None, ge=1, le=LONGEST_DAYS)
    count: StrictInt | None = Field(None, ge=1, le=16)
    until_after_steroid: StrictInt | None = Field(None, ge=0, le=120)
    medicine: MedicineRef | None = None
    replaces: TaperRef | None = None
    from_day: StrictInt | None = Field(None, ge=0, le=60)

    _short = field_validator("steps", mode="before")(_steps)

    @model_validator(mode="after")
    def _says_how_long(self) -> CourseEffect:
        ways = [self.taper, self.steps, self.days, self.until_after_steroid]
        given = sum(way is not None for way in ways)
        if given > 1 or (given == 0 and self.medicine is None):
            raise ValueError("give one of taper, steps, days and until_after_steroid, or a medicine alone")
        if self.until_after_steroid is not None and self.count is None:
            raise ValueError("until_after_steroid needs a count")
        if (self.taper is not None) != (self.role == "steroid" and given == 1):
            raise ValueError("a steroid course names a taper, and only a steroid does")
        return self

    @model_validator(mode="after")
    def _is_heeded(self) -> CourseEffect:
        """Nothing may be written that the mechanism would pass over in silence."""
        ways = [self.taper, self.steps, self.days, self.until_after_steroid]
        alone = all(way is None for way in ways)
        if self.role == "steroid tablet":
            raise ValueError("steroid tablets are ordered by a person, never by a rule")
        if (self.until_after_steroid is not None) != (self.role == "antiviral" and not alone):
            raise ValueError("an antiviral course runs until_after_steroid, and only an antiviral does")
        if self.from_day is not None and self.role != "antiviral":
            raise ValueError(
                "from_day belongs to an antiviral course; all others begin on the first drop day"
            )
        if self.count is not None and self.days is None and self.until_after_steroid is None:
            raise ValueError("count belongs to days or until_after_steroid")
        if self.replaces is not None and self.taper is None:
            raise ValueError("replaces belongs to a taper")
        if self.steps is not None and _rises(self.steps):
            raise ValueError("the count rises along the steps")
        return self


class After(ProtocolPart):
    """Window edges counted from the day on which ``need`` was served."""

    need: NeedRef
    earliest: StrictInt = Field(ge=0, le=LONGEST_DAYS)
    target: StrictInt | None = Field(None, ge=0, le=LONGEST_DAYS)
    latest: StrictInt | None = Field(None, ge=0, le=LONGEST_DAYS)

    @model_validator(mode="after")
    def _is_in_order(self) -> After:
        given = [day for day in (self.earliest, self.target, self.latest) if day is not None]
        if given != sorted(given):
            raise ValueError("earliest, target and latest are not in that order")
        return self


def _as_list(raw: object) -> object:
    return [raw] if isinstance(raw, (str, int)) else raw


def _are_days(edges: tuple[str, ...]) -> tuple[str, ...]:
    for edge in edges:
        found = _EDGE.fullmatch(edge)
        if found is None or int(found[2]) > LONGEST_DAYS:
            raise ValueError(f'"{edge}" is not a day up to {LONGEST_DAYS}: write "28", "F+9" or "L+1"')
    return edges


class NeedEffect(ProtocolPart):
    """Asks for something to be looked at. Edges are day numbers from the operation ("28") or from the
    first drop day or the last steroid day ("F+9", "L+1"); a list means the latest of them. ``weight``
    prices a day off the target against the days off the targets of other needs."""

    id: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    kind: LookRef
    earliest: tuple[str, ...] = Field(min_length=1)
    target: tuple[str, ...] = Field(min_length=1)
    latest: tuple[str, ...] = Field(min_length=1)
    tiers: tuple[Tier, ...] = Field(("A", "B", "C"), min_length=1)
    steroid_days_min: StrictInt = Field(0, ge=0)
    steroid_days_max: StrictInt | None = None
    unless_need: NeedRef | None = None
    after: After | None = None
    urgent: StrictBool = False
    weight: StrictInt = Field(1, ge=0, le=MOST_WEIGHT)

    _list = field_validator("earliest", "target", "latest", mode="before")(_as_list)
    _days = field_validator("earliest", "target", "latest")(_are_days)

    @model_validator(mode="after")
    def _is_in_order(self) -> NeedEffect:
        """Edges counted from the same day can be compared: a window never ends before it begins."""
        days = [_by_base(edges) for edges in (self.earliest, self.target, self.latest)]
        for base in ("", "F", "L"):
            given = [day[base] for day in days if base in day]
            if given != sorted(given):
                raise ValueError("earliest, target and latest are not in that order")
        most = self.steroid_days_max
        if most is not None and most < self.steroid_days_min:
            raise ValueError("steroid_days_max lies under steroid_days_min")
        return self


class GapEffect(ProtocolPart):
    """No more than ``days`` days lie between two looks of ``kind`` that follow each other, counted over
    the days from ``first`` to ``last`` (edges as those of a need). ``finding`` is what a review must
    hold for the look to count; without one every look at the eye counts."""

    id: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    kind: LookRef
    days: StrictInt = Field(ge=1, le=LONGEST_DAYS)
    first: tuple[str, ...] = Field(min_length=1)
    last: tuple[str, ...] = Field(min_length=1)
    finding: FindingRef | None = None

    _list = field_validator("first", "last", mode="before")(_as_list)
    _days = field_validator("first", "last")(_are_days)


def _by_base(edges: tuple[str, ...]) -> dict[str, int]:
    """The latest edge of each kind: plain day numbers under "", else "F" and "L"."""
    found: dict[str, int] = {}
    for edge in edges:
        base, _, more = edge.rpartition("+")
        found[base] = max(found.get(base, 0), int(more))
    return found


class Ask(ProtocolPart):
    """A question for the surgeon. ``holds`` are roles of courses; ``when_count`` asks only from that
    many drops a day. A question that does not block lets the plan be signed with its courses held.
    ``released_by`` is the finding of a review that lets the courses go: they begin on that day."""

    text: SaidLine
    fields: tuple[FieldRef, ...] = Field(min_length=1)
    choices: tuple[str, ...] = ()
    holds: tuple[MedicineRole, ...] = ()
    blocks: StrictBool = True
    released_by: FindingRef | None = None
    when_count: StrictInt | None = Field(None, ge=1)


class CautionEffect(ProtocolPart):
    text: SaidLine
    level: Literal["stop", "ask", "warn", "note"] = "warn"
    sheet: SentenceRef | None = None


class Leaving(ProtocolPart):
    """A check before the patient leaves: hours after the end of the operation."""

    kind: str = Field(min_length=3)
    text: SaidLine
    earliest_hours: StrictInt = Field(ge=0, le=24)
    latest_hours: StrictInt = Field(ge=0, le=24)

    @model_validator(mode="after")
    def _is_in_order(self) -> Leaving:
        if self.latest_hours < self.earliest_hours:
            raise ValueError("latest_hours lies before earliest_hours")
        return self


class Recall(ProtocolPart):
    """How high the eye stands on the list to reach, until this day after surgery."""

    tier: Tier
    days: StrictInt = Field(ge=1, le=LONGEST_DAYS)


class RuleRefusal(ProtocolPart):
    text: SaidLine


class Rule(Reasoned):
    """Fires when every fact of ``when`` holds, one of ``any_of`` does, none of ``unless`` does, and all
    of ``unknown`` are not recorded. ``looked_for`` are facts that its reason tells too, though nothing
    hangs on them here: what would have asked for something else."""

    id: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    scope: Literal["eye", "patient"] = "eye"
    when: tuple[FactRef, ...] = ()
    any_of: tuple[FactRef, ...] = ()
    unless: tuple[FactRef, ...] = ()
    unknown: tuple[FactRef, ...] = ()
    looked_for: tuple[FactRef, ...] = ()
    rank: StrictInt = 0
    always: StrictBool = False
    course: tuple[CourseEffect, ...] = ()
    need: Annotated[
        tuple[NeedEffect, ...],
        Names("id", "need", once=False),
        Names("kind", "look that a rule asks for", once=False),
    ] = ()
    gap: tuple[GapEffect, ...] = ()
    ask: Ask | None = None
    caution: CautionEffect | None = None
    tier: Tier | None = None
    before_leaving: Leaving | None = None
    first_day: Literal[0, 1] | None = None
    stops: tuple[MedicineRole, ...] = ()
    holds: tuple[MedicineRole, ...] = ()
    recall: Recall | None = None
    refuse: RuleRefusal | None = None

    @field_validator("course", "need", "gap", mode="before")
    @classmethod
    def _one_or_more(cls, raw: object) -> object:
        return [raw] if isinstance(raw, dict) else raw

    @model_validator(mode="after")
    def _hangs_together(self) -> Rule:
        if not (self.when or self.any_of or self.unless or self.unknown) and not self.always:
            raise ValueError("the rule names no fact; give when, any_of, unless or unknown, or always = true")
        if self.always and (self.when or self.any_of or self.unknown):
            raise ValueError("the rule fires always and only when; take one out")
        if clash := self._never():
            raise ValueError(f'the rule can never fire: it wants "{clash}" and the opposite')
        effects = [self.course, self.need, self.gap, self.ask, self.caution, self.tier, self.before_leaving]
        if (
            not any([*effects, self.stops, self.holds, self.recall])
            and self.first_day is None
            and self.refuse is None
        ):
            raise ValueError("the rule wants nothing; give it an effect")
        return self

    def _never(self) -> str | None:
        """A fact that would have to hold and not to hold for the rule to fire."""
        wanted = {*self.when, *(self.any_of if len(self.any_of) == 1 else ())}
        against = {*self.unless, *self.unknown, *(f"not {name}" for name in wanted)}
        against |= {name.removeprefix("not ") for name in self.unknown}
        return min(wanted & against, default=None)

    @property
    def names(self) -> tuple[str, ...]:
        """Every fact that the rule looks at."""
        return (*self.when, *self.any_of, *self.unless, *self.unknown, *self.looked_for)


class RuleFile(ProtocolPart):
    rule: tuple[Rule, ...] = Field(min_length=1)
