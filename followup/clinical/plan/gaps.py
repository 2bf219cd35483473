"""Limits between two looks: which there are, and what is left of them for the visits to come."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from followup.clinical.careplan import CheckGap, Course, Reason, Tier
from followup.clinical.english import day_words
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.plan.courses import last_steroid_day
from followup.clinical.plan.needs import day_of
from followup.clinical.plan.served import checks, looks
from followup.clinical.plan.taper import daily_totals
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Eye, Record
from followup.said import say
from followup.timing.calendar import every_day
from followup.timing.trip_types import GapRule


def gap_rules(
    record: Record, protocol: Protocol, eyes: Sequence[EyeRules], courses: Sequence[Course], as_of: date
) -> tuple[list[GapRule], tuple[str, ...]]:
    """Steroid dates between pressure checks by tier, and NSAID dates between looks at the cornea."""
    rules: list[GapRule] = []
    told: list[str] = []
    for gap in check_gaps(protocol, eyes, courses):
        days = frozenset(gap_days(gap, courses))
        seen = checks(record, gap.eye, gap.finding, as_of) if gap.finding else looks(record, gap.eye, as_of)
        look = gap.need or (protocol.long_nsaid.look if gap.kind == "cornea" else "pressure")
        rules += _rule(gap, days, seen, as_of, protocol.kinds[look].service, told)
    return rules, tuple(told)


def gap_days(gap: CheckGap, courses: Iterable[Course]) -> list[date]:
    """The dates that count for a gap: with so many drops a day or more of what it watches, or its own."""
    if gap.first is not None and gap.last is not None:
        return list(every_day(gap.first, gap.last))
    counts = _counts(courses, gap.eye, "steroid" if gap.kind == "pressure" else "nsaid")
    return [day for day, count in counts.items() if count >= gap.from_count]


def check_gaps(
    protocol: Protocol, eyes: Sequence[EyeRules], courses: Sequence[Course]
) -> tuple[CheckGap, ...]:
    """The limits between two looks that these courses bring with them, with their reasons."""
    gaps: list[CheckGap] = []
    for eye in eyes:
        tier, setting = eye.tier
        steroid = _counts(courses, eye.eye, "steroid")
        why = _tier_reason(protocol, tier), *(f.reason for f in setting if f.rule.tier == tier)
        for limit in protocol.tiers[tier].gaps if steroid else ():
            key = f"{eye.eye}:pressure-gap-{limit.from_count}"
            gaps.append(
                CheckGap(
                    key=key,
                    eye=eye.eye,
                    kind="pressure",
                    limit=limit.limit,
                    from_count=limit.from_count,
                    finding="pressure",
                    reasons=why,
                )
            )
        long = protocol.long_nsaid
        if len(_counts(courses, eye.eye, "nsaid")) > long.after_days:
            reason = Reason(rule="long-nsaid", because=long.because, source=long.source, mark=long.mark)
            key = f"{eye.eye}:nsaid-gap"
            gaps.append(
                CheckGap(key=key, eye=eye.eye, kind="cornea", limit=long.gap, from_count=1, reasons=(reason,))
            )
        gaps += _look_gaps(eye, courses)
    return tuple(gaps)


def _look_gaps(eye: EyeRules, courses: Sequence[Course]) -> list[CheckGap]:
    """The limits that rules set between two looks, each id once: the strictest, over all the days."""
    last = last_steroid_day(c for c in courses if c.eye == eye.eye and not c.from_before)
    found: dict[str, CheckGap] = {}
    for fired in eye.fired:
        for effect in fired.rule.gap:
            start, end = day_of(effect.first, eye, last), day_of(effect.last, eye, last)
            if start is None or end is None or end < start:
                continue
            before = found.get(effect.id)
            found[effect.id] = CheckGap(
                key=f"{eye.eye}:{effect.id}",
                eye=eye.eye,
                kind="look",
                # Two looks so many days apart have one date fewer between them.
                limit=min(effect.days - 1, before.limit) if before else effect.days - 1,
                from_count=0,
                need=effect.kind,
                finding=effect.finding,
                first=min(start, before.first or start) if before else start,
                last=max(end, before.last or end) if before else end,
                reasons=(*(before.reasons if before else ()), fired.reason),
            )
    return list(found.values())


def _tier_reason(protocol: Protocol, tier: Tier) -> Reason:
    setting = protocol.tiers[tier]
    return Reason(rule=f"tier-{tier}", because=setting.because, source=setting.source, mark=setting.mark)


def _counts(courses: Iterable[Course], eye: Eye, role: str) -> dict[date, int]:
    """Drops a day of one kind; what waits or is left out counts as if it were given: no fewer looks."""
    return daily_totals(course for course in courses if course.eye == eye and course.role == role)


def _rule(
    gap: CheckGap,
    days: frozenset[date],
    seen: Sequence[date],
    as_of: date,
    service: str,
    told: list[str],
) -> list[GapRule]:
    """The rule for what is left since the last check; a gap already broken asks for a visit at once."""
    key, limit, last = gap.key, gap.limit, seen[-1] if seen else None
    left = frozenset(day for day in days if last is None or day > last)
    gone = sum(day < as_of for day in left)
    if gone > limit:
        since = day_words(last) if last else say("the first drop")
        told.append(
            say(
                "{side} eye: {gone} days since {since} without a check, more than {limit}: a "
                "check is due at once.",
                side=gap.eye.capitalize(),
                gone=gone,
                since=since,
                limit=limit,
            )
        )
    return [GapRule(key, left, limit, service)] if left else []
