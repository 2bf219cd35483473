"""Review needs of one eye: which windows the rules open, and which are served already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.adjustments import Adjustment, NeedAdded
from followup.clinical.careplan import BeforeLeaving, Overridden, Reason, ReviewNeed, Tier
from followup.clinical.english import day_words
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.facts.fire import Fired
from followup.clinical.protocol.protocol import Protocol, text_of
from followup.clinical.protocol.rule import After, NeedEffect
from followup.errors import FollowupError
from followup.said import say
from followup.timing.trip_types import Since as TripAfter


@dataclass(frozen=True)
class Opened:
    """A need with the dependence that its rule gave it, for the planning of trips."""

    need: ReviewNeed
    after: After | None

    def trip_after(self, keys: set[str], eye: str) -> tuple[TripAfter, ...]:
        """The dependence in the words of the trip planner; none where the other need is not there."""
        if self.after is None or f"{eye}:{self.after.need}" not in keys:
            return ()
        a = self.after
        return (TripAfter(f"{eye}:{a.need}", a.earliest, a.target, a.latest),)


@dataclass(frozen=True)
class Wish:
    fired: Fired
    effect: NeedEffect
    window: tuple[date, date, date]


def open_needs(
    rules: EyeRules, protocol: Protocol, last: date | None, steroid_days: int
) -> tuple[tuple[Opened, ...], tuple[Overridden, ...]]:
    """Every need of this eye, each id once.

    ``last`` is the last steroid day (L) or None, ``steroid_days`` how long the steroid runs.
    """
    tier = rules.tier[0]
    wishes: dict[str, list[Wish]] = {}
    for fired in rules.fired:
        for effect in fired.rule.need:
            if _applies(effect, tier, steroid_days):
                window = _window(effect, rules.day0, rules.first_drop_day, last)
                if window is not None:
                    wishes.setdefault(effect.id, []).append(Wish(fired, effect, window))
    wishes = {
        id_: found for id_, found in wishes.items() if not any(w.effect.unless_need in wishes for w in found)
    }
    opened: list[Opened] = []
    lost: list[Overridden] = []
    for found in wishes.values():
        need, losers = _merge(found, protocol)
        kind = protocol.kinds[need.effect.kind]
        start, target, end = _joined_window(found, kind.merge, need)
        opened.append(
            Opened(
                ReviewNeed(
                    key=f"{rules.eye}:{need.effect.id}",
                    kind=need.effect.kind,
                    eye=rules.eye,
                    service=kind.service,
                    tier=rules.recall_tier(target),
                    earliest=start,
                    target=target,
                    latest=end,
                    urgent=need.effect.urgent or start == end,
                    weight=max(w.effect.weight for w in found),
                    after=f"{rules.eye}:{need.effect.after.need}" if need.effect.after else None,
                    reasons=tuple(
                        w.fired.over([x.rule for x in losers])
                        for w in found
                        if w.fired.rule.id not in _ids(losers)
                    ),
                ),
                need.effect.after,
            )
        )
        lost += losers
    return tuple(opened), tuple(lost)


def added_needs(rules: EyeRules, protocol: Protocol, adjustments: Sequence[Adjustment]) -> list[Opened]:
    """The looks that the surgeon added for this eye after a review."""
    added = []
    mine = [a for a in adjustments if isinstance(a, NeedAdded) and a.eye == rules.eye]
    for number, look in enumerate(mine, 1):
        kind = protocol.kinds.get(look.need)
        if kind is None:
            raise FollowupError(
                "edit.need",
                say('no kind of look "{need}"', need=look.need),
                where=say("edit"),
                fix=say("use a kind of the protocol"),
            )
        reason = Reason(
            rule="surgeon", because=look.reason, source=say("added by {by}", by=look.by), mark="C"
        )
        need = ReviewNeed(
            key=f"{rules.eye}:added-{number}-{look.need}",
            kind=look.need,
            eye=rules.eye,
            service=kind.service,
            tier=rules.recall_tier(look.target),
            earliest=look.earliest,
            target=look.target,
            latest=look.latest,
            urgent=(look.latest - look.earliest).days <= protocol.added_looks.urgent_days,
            reasons=(reason,),
        )
        added.append(Opened(need, None))
    return added


def last_days(opened: Sequence[Opened]) -> dict[str, date]:
    """The latest day on which each need may still be served, whenever those that it hangs on are."""
    by_key = {entry.need.key: entry for entry in opened}

    def last(key: str) -> date:
        entry = by_key[key]
        base, after = entry.need.after, entry.after
        if base not in by_key or after is None:
            return entry.need.latest
        return max(entry.need.latest, last(base) + timedelta(days=max(after.earliest, after.latest or 0)))

    return {key: last(key) for key in by_key}


def _ids(losers: Sequence[Overridden]) -> set[str]:
    return {loser.rule for loser in losers}


def _applies(effect: NeedEffect, tier: Tier, steroid_days: int) -> bool:
    most = effect.steroid_days_max
    return (
        tier in effect.tiers
        and steroid_days >= effect.steroid_days_min
        and (most is None or steroid_days <= most)
    )


def _window(effect: NeedEffect, day0: date, first: date, last: date | None) -> tuple[date, date, date] | None:
    """The three days, each the latest of its edges; an edge after a steroid that is not given falls away."""
    days = [_latest(edges, day0, first, last) for edges in (effect.earliest, effect.target, effect.latest)]
    if any(day is None for day in days):
        return None
    start, target, end = (day for day in days if day is not None)
    target = max(start, target)
    return start, target, max(target, end)


def day_of(edges: Sequence[str], rules: EyeRules, last: date | None) -> date | None:
    """The latest of some edges of a rule as a date; None where all hang on a steroid that is not given."""
    return _latest(edges, rules.day0, rules.first_drop_day, last)


def _latest(edges: Sequence[str], day0: date, first: date, last: date | None) -> date | None:
    found = []
    for edge in edges:
        base, _, more = edge.partition("+")
        if base == "F":
            found.append(first + timedelta(days=int(more)))
        elif base == "L":
            found += [last + timedelta(days=int(more))] if last else []
        else:
            found.append(day0 + timedelta(days=int(edge)))
    return max(found, default=None)


def _merge(found: Sequence[Wish], protocol: Protocol) -> tuple[Wish, tuple[Overridden, ...]]:
    """The wish that decides, and what lost to it: "earliest" the soonest end, "latest" the last start."""
    merge = protocol.kinds[found[0].effect.kind].merge
    if merge == "earliest":
        best = min(found, key=lambda w: (w.window[2], w.window[1], w.window[0]))
    else:
        best = max(found, key=lambda w: w.window)
    losers = [w for w in found if w.window != best.window]
    kind = text_of(found[0].effect.kind, protocol.kinds)
    return best, tuple(
        Overridden(
            rule=w.fired.rule.id,
            wanted=say(
                "{kind} from {first} to {last}",
                kind=kind,
                first=day_words(w.window[0]),
                last=day_words(w.window[2]),
            ),
            lost_to=best.fired.rule.id,
            reason=w.fired.reason,
        )
        for w in losers
    )


def _joined_window(found: Sequence[Wish], merge: str, best: Wish) -> tuple[date, date, date]:
    """ "latest" takes each edge as the latest of all wishes, so that every bound is kept."""
    if merge != "latest":
        return best.window
    start, target, end = (max(w.window[i] for w in found) for i in range(3))
    return start, target, end


def before_leaving(rules: EyeRules, ended: str | None) -> tuple[BeforeLeaving, ...]:
    """Checks in hours on the day itself; clock times where the end of the operation is recorded."""
    checks = []
    for fired in rules.fired:
        leaving = fired.rule.before_leaving
        if leaving is None:
            continue
        checks.append(
            BeforeLeaving(
                key=f"{rules.eye}:before-leaving-{leaving.kind}",
                kind=leaving.kind,
                eye=rules.eye,
                earliest=clock(ended, leaving.earliest_hours),
                latest=clock(ended, leaving.latest_hours),
                text=leaving.text,
                reasons=(fired.reason,),
            )
        )
    return tuple(checks)


def clock(ended: str | None, hours: int) -> str | None:
    if ended is None:
        return None
    return f"{(int(ended[:2]) + hours) % 24:02d}:{ended[3:]}"
