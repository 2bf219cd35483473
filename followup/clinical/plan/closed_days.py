"""First looks that fall on days without their service: what the clinic's calendar says of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from followup.clinical.careplan import BeforeLeaving, Reason
from followup.clinical.facts.eye_rules import EyeRules
from followup.clinical.plan.needs import Opened, clock
from followup.clinical.protocol.protocol import Protocol
from followup.timing.calendar import Calendar, every_day

PRESSURE = "pressure"


@dataclass(frozen=True)
class NeedsOnOpenDays:
    """The needs with what the calendar changes in them.

    ``on_call`` are services with a day on which whoever is on call gives them; ``put_off`` the keys of
    looks that wait for the next day of the clinic.
    """

    opened: tuple[Opened, ...]
    on_call: frozenset[tuple[str, date]]
    put_off: tuple[str, ...]


def over_closed_days(
    opened: Iterable[Opened], protocol: Protocol, calendar: Calendar, start: date
) -> NeedsOnOpenDays:
    """Apply the calendar's word on closed days to the looks that the protocol lets it hold for."""
    kept: list[Opened] = []
    on_call: set[tuple[str, date]] = set()
    put_off: list[str] = []
    for entry in opened:
        closed = _closed(entry, protocol, calendar, start)
        later = None
        if calendar.closed_days is not None and closed:
            if calendar.closed_days.first_look == "on call":
                on_call |= {(entry.need.service, day) for day in closed}
            else:
                later = _later(entry, protocol, calendar)
        if later is not None:
            put_off.append(entry.need.key)
        kept.append(entry if later is None else _waiting(entry, later, protocol))
    return NeedsOnOpenDays(tuple(kept), frozenset(on_call), tuple(put_off))


def _closed(entry: Opened, protocol: Protocol, calendar: Calendar, start: date) -> tuple[date, ...]:
    """The days left of a look's window, where none of them offers it; nothing for any other look."""
    need = entry.need
    if need.key.partition(":")[2] not in protocol.closed_days.looks:
        return ()
    first = max(start, need.earliest)
    days = tuple(every_day(first, need.latest))
    return () if any(calendar.offers(need.service, day) for day in days) else days


def _later(entry: Opened, protocol: Protocol, calendar: Calendar) -> date | None:
    """The next day that offers the look, as far as the protocol lets it wait; never for an urgent one."""
    need = entry.need
    if need.urgent:
        return None
    days = (need.latest + timedelta(days=n) for n in range(1, protocol.closed_days.put_off_days + 1))
    return next((day for day in days if calendar.offers(need.service, day)), None)


def _waiting(entry: Opened, day: date, protocol: Protocol) -> Opened:
    window = {"target": day, "latest": day, "reasons": (*entry.need.reasons, _reason(protocol))}
    return Opened(entry.need.model_copy(update=window), entry.after)


def same_day_checks(
    put_off: Sequence[str], eyes: Sequence[EyeRules], protocol: Protocol, there: Iterable[BeforeLeaving]
) -> tuple[BeforeLeaving, ...]:
    """The pressure checks before leaving that go with looks that wait, where the plan has none already."""
    setting = protocol.closed_days
    known = {(check.eye, check.kind) for check in there}
    waiting = {key.partition(":")[0] for key in put_off}
    return tuple(
        BeforeLeaving(
            key=f"{eye.eye}:before-leaving-{PRESSURE}",
            kind=PRESSURE,
            eye=eye.eye,
            earliest=clock(eye.context.operation.end, setting.pressure_from_hours),
            latest=clock(eye.context.operation.end, setting.pressure_to_hours),
            text=setting.pressure_text,
            reasons=(_reason(protocol),),
        )
        for eye in eyes
        if eye.eye in waiting and (eye.eye, PRESSURE) not in known
    )


def _reason(protocol: Protocol) -> Reason:
    setting = protocol.closed_days
    return Reason(rule="closed-days", because=setting.because, source=setting.source, mark=setting.mark)
