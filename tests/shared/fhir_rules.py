"""FHIR R4 read by hands of our own: the rules of a Timing, and the moments that it means.

Source of the rules: HL7 FHIR R4 (4.0.1), data types, Timing.repeat, constraints tim-1 to tim-10 (there is no
tim-3) and the comment on ``timeOfDay``; Period: a date as the end counts that whole day.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime, time
from typing import Any

from dateutil.rrule import DAILY, rrule

EVENTS_OF_MEALS = ("C", "CM", "CD", "CV")


def broken_rules(repeat: dict[str, Any]) -> list[str]:
    """Which of the standard's rules a Timing.repeat breaks."""
    has = repeat.__contains__
    when = repeat.get("when", [])
    kept = {
        "tim-1": not has("duration") or has("durationUnit"),
        "tim-2": not has("period") or has("periodUnit"),
        "tim-4": repeat.get("duration", 0) >= 0,
        "tim-5": repeat.get("period", 0) >= 0,
        "tim-6": not has("periodMax") or has("period"),
        "tim-7": not has("durationMax") or has("duration"),
        "tim-8": not has("countMax") or has("count"),
        "tim-9": not has("offset") or (bool(when) and not set(when) & set(EVENTS_OF_MEALS)),
        "tim-10": not has("timeOfDay") or not has("when"),
        "timeOfDay stands alone": not has("timeOfDay") or not {"when", "frequency", "period"} & set(repeat),
    }
    return [rule for rule, holds in kept.items() if not holds]


def repeats(bundle: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Every Timing.repeat of a bundle, wherever it stands."""
    waiting: list[Any] = [bundle]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            waiting += one.values()
            if "repeat" in one:
                yield one["repeat"]
        elif isinstance(one, list):
            waiting += one


def moments(request: dict[str, Any], first: date, last: date) -> Counter[datetime]:
    """When the request says that something goes in, from the beginning of ``first`` to the end of ``last``.

    Only what has clock times is counted.
    """
    found: Counter[datetime] = Counter()
    for dosage in request.get("dosageInstruction", []):
        repeat = dosage["timing"]["repeat"]
        bounds = repeat.get("boundsPeriod", {})
        start = max(first, date.fromisoformat(bounds.get("start", first.isoformat())))
        end = min(last, date.fromisoformat(bounds.get("end", last.isoformat())))
        for clock in repeat.get("timeOfDay", []):
            begin = datetime.combine(start, time.fromisoformat(clock))
            found.update(rrule(DAILY, dtstart=begin, until=datetime.combine(end, time.max)))
    return found


def of_kind(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    """The resources of one kind, in their order."""
    found = (entry["resource"] for entry in bundle["entry"])
    return [resource for resource in found if resource["resourceType"] == kind]
