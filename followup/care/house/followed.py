"""Who was followed up, and how well they see."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from followup.care.hand import Hand
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import Record
from followup.records.figures.followed import ClosedVisit, visits_with_closed_window
from followup.records.figures.recent import records_since
from followup.records.store.store import Session

QUARTER = timedelta(days=91)


@dataclass(frozen=True)
class Completeness:
    """Visits of one tier whose last day has passed: seen by then, seen later, not seen."""

    tier: str
    in_time: int
    late: int
    never: int

    @property
    def all(self) -> int:
        return self.in_time + self.late + self.never


@dataclass(frozen=True)
class Followed:
    """Since a day: who was seen of those whose last day passed, and eyes by band of their last vision."""

    since: date
    tiers: list[Completeness]
    bands: Counter[str]


def followed(hand: Hand) -> Followed:
    """The last quarter."""
    since = hand.today - QUARTER
    with hand.store.read() as session:
        closed = visits_with_closed_window(session, since, hand.today)
        tiers = [_completeness(tier, [c for c in closed if c.tier == tier]) for tier in ("A", "B", "C")]
        return Followed(since, tiers, _bands(session, hand, since))


def _completeness(tier: str, closed: Iterable[ClosedVisit]) -> Completeness:
    found = Counter(one.result for one in closed)
    return Completeness(tier, found["in time"], found["late"], found["never"])


def _bands(session: Session, hand: Hand, since: date) -> Counter[str]:
    """Eyes operated in the quarter before last or later, by the band of their last vision."""
    found: Counter[str] = Counter()
    for record in records_since(session, hand.now - QUARTER * 2).values():
        found.update(_of_record(record, hand.protocol, since))
    return found


def _of_record(record: Record, protocol: Protocol, since: date) -> Iterable[str]:
    """Each operation once: an eye that is operated again is the later operation's from then on."""
    for operation in record.operations:
        again = min(
            (o.date for o in record.operations if o.eye == operation.eye and o.date > operation.date),
            default=date.max,
        )
        looks = [
            look
            for look in record.reviews
            if look.eye == operation.eye
            and (look.vision or look.pinhole)
            and max(since, operation.date + timedelta(days=1)) <= look.date <= again
        ]
        if not looks:
            continue
        last = max(looks, key=lambda look: look.date)
        seen = protocol.vision_bands.band(last.vision or last.pinhole or "")
        when = "early" if (last.date - operation.date).days < protocol.early_vision.days else "final"
        yield f"{when} {seen or 'not understood'}"
