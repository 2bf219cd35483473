"""One operated eye after the rules have fired: what they want of it, sorted by kind."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

from followup.clinical.careplan import Tier
from followup.clinical.facts.derive import Facts, truth
from followup.clinical.facts.fire import Fired, fire
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.protocol.rule import CourseEffect
from followup.clinical.record import Eye
from followup.clinical.record.base import UNSEEN, MedicineRole
from followup.clinical.record.eye import EyeContext


@dataclass(frozen=True)
class EyeRules:
    """The eye, its facts and the rules that fired on it."""

    context: EyeContext
    facts: Facts
    fired: tuple[Fired, ...]
    released: dict[MedicineRole, date]

    @property
    def eye(self) -> Eye:
        return self.context.eye

    @property
    def day0(self) -> date:
        return self.context.day0

    @property
    def refused(self) -> tuple[Fired, ...]:
        return tuple(f for f in self.fired if f.rule.refuse)

    @property
    def first_day_rule(self) -> Fired | None:
        """The rule that sets the first drop day; of several the highest rank."""
        setting = [f for f in self.fired if f.rule.first_day is not None]
        return max(setting, key=lambda f: f.rule.rank, default=None)

    @property
    def first_drop_day(self) -> date:
        """F: the day after surgery unless a rule says the day itself."""
        best = self.first_day_rule
        days = 1 if best is None or best.rule.first_day is None else best.rule.first_day
        return self.day0 + timedelta(days=days)

    @property
    def tier(self) -> tuple[Tier, tuple[Fired, ...]]:
        """The strictest tier that fired, with all rules that set one, the deciding first."""
        setting = sorted((f for f in self.fired if f.rule.tier), key=lambda f: str(f.rule.tier))
        return (setting[0].rule.tier or "C" if setting else "C"), tuple(setting)

    def recall_tier(self, day: date) -> Tier:
        """How high a visit due on ``day`` stands on the list to reach."""
        since = (day - self.day0).days
        tiers = [f.rule.recall.tier for f in self.fired if f.rule.recall and since <= f.rule.recall.days]
        return min([*tiers, self.tier[0]])

    def wanting(self, role: MedicineRole) -> list[tuple[Fired, CourseEffect]]:
        """Every effect on courses of ``role``, with its rule."""
        return [(f, effect) for f in self.fired for effect in f.rule.course if effect.role == role]

    def held(self, role: MedicineRole, most_a_day: int) -> tuple[str, ...]:
        """The questions that hold courses of ``role`` in this eye."""
        asks = (f.rule for f in self.fired if f.rule.ask and asked(f, most_a_day))
        held = [rule.id for rule in asks if rule.ask and role in rule.ask.holds]
        return (*held, *(f.rule.id for f in self.fired if role in f.rule.holds))

    def stopped(self, role: MedicineRole) -> tuple[Fired, ...]:
        return tuple(f for f in self.fired if role in f.rule.stops)


def asked(fired: Fired, most_a_day: int) -> bool:
    """Whether the rule's question is put: some are only asked from so many drops a day."""
    ask = fired.rule.ask
    return ask is not None and (ask.when_count is None or most_a_day >= ask.when_count)


def apply_rules(context: EyeContext, protocol: Protocol) -> EyeRules:
    """Derive the facts of one eye and fire the protocol's rules on them."""
    roles = {medicine.id: medicine.role for medicine in protocol.formulary.values()}
    context = replace(context, roles=roles, recent_days=protocol.earlier_operation.days)
    facts = Facts(context, protocol.facts_of_eyes)
    fired = fire(protocol.rules, facts)
    return EyeRules(context, facts, fired, _released(context, protocol, facts, fired))


def _released(
    context: EyeContext, protocol: Protocol, facts: Facts, fired: tuple[Fired, ...]
) -> dict[MedicineRole, date]:
    """The days on which held courses were let go: by the record's word, or by what a review saw."""
    days: dict[MedicineRole, date] = {}
    for release in context.operation.released:
        days[release.course] = max(release.on, days.get(release.course, context.day0))
    silent = {f.rule.id for f in fired}
    for rule in protocol.rules:
        if rule.ask is None or rule.ask.released_by is None or rule.id in silent:
            continue
        if all(truth(name, facts) is True for name in rule.when):
            day = _seen_since(context, rule.ask.released_by)
            for role in rule.ask.holds if day else ():
                days[role] = max(day or context.day0, days.get(role, context.day0))
    return days


def _seen_since(context: EyeContext, finding: str) -> date | None:
    """The first of the last looks at which the finding was what it is now."""
    seen = [(r.date, getattr(r, finding)) for r in context.reviews if r.date > context.day0]
    seen = [(day, value) for day, value in seen if value not in UNSEEN]
    since = None
    for day, value in reversed(seen):
        if value != seen[-1][1]:
            break
        since = day
    return since
