"""A promise to come counts only with a day inside the limit of the tier on which there is a place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from followup.clinical.careplan import Tier
from followup.clinical.protocol.recall import RecallRules
from followup.timing.calendar import Calendar

# A clinic that is closed for longer has no open day to promise.
LONGEST = 60


def promise_days(
    rules: RecallRules, tier: Tier, today: date, calendar: Calendar, services: Iterable[str]
) -> tuple[date, ...]:
    """The days, from ``today`` on, that may be promised: inside the limit, offered, and with a place left."""
    wanted = tuple(services)
    return tuple(
        day
        for day in _inside(rules, tier, today, calendar)
        if calendar.is_open(day)
        and all(calendar.offers(name, day) and calendar.room(name, day) != 0 for name in wanted)
    )


def last_promise_day(rules: RecallRules, tier: Tier, today: date, calendar: Calendar) -> date:
    """The last day of the limit, whether there is a place on it or not."""
    return max(_inside(rules, tier, today, calendar))


def _inside(rules: RecallRules, tier: Tier, today: date, calendar: Calendar) -> Iterator[date]:
    """Today, and the days of the limit after it; where open days are counted, closed ones count nothing."""
    rule, counted = rules.promise[tier], 0
    yield today
    for number in range(1, LONGEST + 1):
        day = today + timedelta(days=number)
        counted += not rule.open_days or calendar.is_open(day)
        if counted > rule.days:
            return
        yield day
