"""Which needs past looks have served, which were missed, and which nobody wrote about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.careplan import ReviewNeed
from followup.clinical.plan.needs import Opened
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Eye, Findings, Record
from followup.clinical.record.base import UNSEEN
from followup.clinical.record.fields import held
from followup.clinical.statuses import CAME, NOT_COMING

_GRADED = (name for name in Findings.model_fields if not held(f"reviews.{name}").is_text)
_SEEN = (
    *(name for name in _GRADED if held(f"reviews.{name}").can_be("not seen") and name != "technique_seen"),
    *("pressure", "vision", "refraction"),
)
"""The findings of the eye itself."""


@dataclass(frozen=True)
class Past:
    """``served`` need by key with its day; ``unknown`` windows closed without a word in the record;
    ``caught_up`` needs whose window closed on a missed visit, reopened from the as-of day."""

    served: dict[str, date]
    unknown: tuple[ReviewNeed, ...]
    reopened: tuple[Opened, ...]


def look_back(record: Record, protocol: Protocol, opened: Sequence[Opened], as_of: date) -> Past:
    """Sort the needs by what the record says of the days up to ``as_of``."""
    next_day = first_day_to_come(record, as_of)
    served: dict[str, date] = {}
    unknown, reopened = [], []
    waiting: set[str] = set()
    # Needs that hang on another come after it, so that the other's served day is known.
    for entry in sorted(opened, key=lambda o: (o.after is not None, o.need.earliest)):
        need = entry.need
        start, end = _window(entry, served)
        day = _served_on(record, protocol, need, start, as_of)
        if day is not None:
            served[need.key] = day
        elif end >= next_day or need.after in waiting:
            waiting.add(need.key)
        elif _missed(record, protocol, need, as_of):
            waiting.add(need.key)
            reopened.append(Opened(_reopen(need, next_day, protocol.catch_up.days), entry.after))
        else:
            unknown.append(need)
    return Past(served, tuple(unknown), tuple(reopened))


def first_day_to_come(record: Record, as_of: date) -> date:
    """The as-of day, or the day after where the patient has been seen on it already."""
    return as_of + timedelta(days=1) if as_of in looks(record, None, as_of) else as_of


def _window(entry: Opened, served: dict[str, date]) -> tuple[date, date]:
    """First and last day of a need, moved by the day on which the other that it hangs on was served."""
    start, end, after = entry.need.earliest, entry.need.latest, entry.after
    base = served.get(entry.need.after or "")
    if base is None or after is None:
        return start, end
    start = max(start, base + timedelta(days=after.earliest))
    return start, max(start, end, base + timedelta(days=after.latest or 0))


def _served_on(record: Record, protocol: Protocol, need: ReviewNeed, start: date, as_of: date) -> date | None:
    days = [day for day in looks(record, need.eye, as_of) if start <= day]
    within = [day for day in days if day <= need.latest] or days
    return next((day for day in within if _looked_at(record, protocol, need, day)), None)


def looks(record: Record, eye: Eye | None, as_of: date) -> list[date]:
    """The days up to ``as_of`` on which this eye was seen, by review or by a visit that took place."""
    reviews = {r.date for r in record.reviews if r.date <= as_of and eye in (None, r.eye)}
    trips = {t.date for t in record.trips if t.date <= as_of and t.status in CAME}
    return sorted(reviews | trips)


def _looked_at(record: Record, protocol: Protocol, need: ReviewNeed, day: date) -> bool:
    """ "Not seen" and "not done" never count as looked at; a visit counts for what it names, or for all."""
    finding = protocol.kinds[need.kind].finding
    reviews = [r for r in record.reviews if r.date == day and r.eye == need.eye]
    if reviews and finding:
        values = [getattr(review, finding) for review in reviews]
        if any(v not in (*UNSEEN, False) for v in values):
            return True
        if any(v in ("not seen", "not done") for v in values):
            return False
    elif any(not _saw_nothing(review) for review in reviews):
        return True
    elif reviews:
        return False
    trips = [t for t in record.trips if t.date == day and t.status in CAME]
    return any(not t.served or need.key in t.served or need.kind in t.served for t in trips)


def seen_by_findings(record: Record, protocol: Protocol, kind: str, eye: Eye | None, day: date) -> bool:
    """Whether the looks written down for ``day`` saw what ``kind`` is for; "": whether they saw anything.

    That the patient was here says nothing of it.
    """
    reviews = [r for r in record.reviews if r.date == day and eye in (None, r.eye)]
    finding = protocol.kinds[kind].finding if kind in protocol.kinds else None
    if finding:
        found = [getattr(review, finding) for review in reviews]
        return any(value not in (*UNSEEN, False) for value in found)
    return any(not _saw_nothing(review) for review in reviews)


def _saw_nothing(review: Findings) -> bool:
    """Whether a look wrote down only that it could not see: it is no look. One without a word is believed."""
    told = [getattr(review, name) for name in _SEEN]
    return any(told) and all(value in UNSEEN for value in told)


def _missed(record: Record, protocol: Protocol, need: ReviewNeed, as_of: date) -> bool:
    """Whether the record itself says that the look did not take place: no visit, or not seen at one."""
    finding = protocol.kinds[need.kind].finding
    seen = [r for r in record.reviews if r.eye == need.eye and need.earliest <= r.date <= as_of]
    if finding and any(getattr(r, finding) in ("not seen", "not done", False) for r in seen):
        return True
    if not finding and any(_saw_nothing(review) for review in seen):
        return True
    return any(
        t.status in NOT_COMING
        and need.earliest <= t.date <= need.latest
        and (not t.served or need.key in t.served or need.kind in t.served)
        for t in record.trips
    )


def _reopen(need: ReviewNeed, day: date, days: int) -> ReviewNeed:
    late = day + timedelta(days=days)
    return need.model_copy(update={"earliest": day, "target": day, "latest": late, "urgent": True})


def checks(record: Record, eye: Eye, finding: str, as_of: date) -> list[date]:
    """Days on which this eye was looked at for ``finding`` (pressure, cells): a review that says so, or
    any visit of which no review says that it was not seen."""
    mine = [(r.date, getattr(r, finding)) for r in record.reviews if r.eye == eye and r.date <= as_of]
    reviews = {day for day, value in mine if value not in (None, "not seen", "not done")}
    refused = {day for day, value in mine if value in ("not seen", "not done")} - reviews
    trips = {t.date for t in record.trips if t.date <= as_of and t.status in CAME} - refused
    return sorted(reviews | trips)
