"""The outcome audit of a span of days, as whoever asks may see it: one site's patients, or all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial

from followup.care.hand import Hand
from followup.care.house.followed import MONTHS, months_back
from followup.errors import FollowupError
from followup.exchange.audit.definitions import audit_definitions
from followup.exchange.audit.document import AuditDocument, document
from followup.exchange.audit.figures import Audit, audit
from followup.exchange.audit.flat import AuditRow, flat
from followup.exchange.audit.rows import AuditedRecord, AuditedVisit, audited
from followup.records.figures.followed import ClosedVisit, visits_with_closed_window
from followup.records.figures.recent import VersionKey, fell_due, of_records, operated
from followup.records.store.kept import Kept
from followup.said import say


@dataclass(frozen=True)
class ToldAudit:
    """An audit in words, and every figure of it as a row."""

    document: AuditDocument
    rows: tuple[AuditRow, ...]


LONGEST_DAYS = 1830
"""Of one audit: five years."""
_read: Kept[VersionKey, AuditedRecord] = Kept(8192)


def audit_of(hand: Hand, begin: date | None = None, end: date | None = None) -> Audit:
    """Operations, and visits whose last day was, from ``begin`` to ``end``; usually this month and the five
    before it. Error: ``audit.span``."""
    begin, end = _span(hand.today, begin, end)
    with hand.store.read() as session:
        read = partial(
            of_records,
            session,
            make=partial(audited, protocol=hand.protocol),
            kept=_read,
            by=hand.protocol.hash,
        )
        mine, due = read(operated(begin, end)), read(fell_due(begin, end))
        closed = visits_with_closed_window(session, begin, hand.today)
    operations = [one for record in mine.values() for one in record.operations]
    return audit(
        [one for one in operations if begin <= one.day <= end],
        [_visit(one, due) for one in closed if one.last <= end],
        (begin, end),
        hand.today,
        hand.protocol,
        audit_definitions(),
    )


def told_audit(hand: Hand, found: Audit) -> ToldAudit:
    """The audit as pages, papers and tables tell it."""
    definitions = audit_definitions()
    told = document(found, hand.protocol, definitions)
    return ToldAudit(told, flat(found, told, definitions))


def _span(today: date, begin: date | None, end: date | None) -> tuple[date, date]:
    end = min(end or today, today)
    begin = begin or months_back(end, MONTHS - 1)
    if begin > end or (end - begin).days > LONGEST_DAYS:
        raise FollowupError(
            "audit.span",
            say("no audit from {begin} to {end}", begin=begin, end=end),
            fix=say("choose a first day before the last one, and at most five years"),
        )
    return begin, end


def _visit(one: ClosedVisit, records: Mapping[int, AuditedRecord]) -> AuditedVisit:
    whose = records.get(one.patient)
    if whose is None:
        return AuditedVisit(one.result, one.last)
    return AuditedVisit(one.result, one.last, whose.surgeon_on(one.last), whose.hours, whose.language)
