"""The clinic's calendar: open days, holidays, services with their days and places, half-days."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request, Response

from followup.clinical.record import parse_json_object
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, first
from followup.errors import FollowupError
from followup.language.entered import must_print_text
from followup.records.house.clinics import clinic_calendar_of, get_clinic, put_clinic
from followup.records.store.store import Session
from followup.records.trips.closed import visits_without_offer
from followup.records.views import Clinic, TripView
from followup.said import say
from followup.timing.calendar import WEEKDAYS, Calendar, parse_calendar
from followup.typed import typed

router = APIRouter()
SPARE_ROWS = 2


@router.get("/calendar")
def calendar_page(request: Request, hand: AnyHand) -> Response:
    typed = _typed_of(hand.calendar) | {
        "caps": ["yes"] if hand.clinic.cap_colours else [],
        "address": [hand.clinic.address],
    }
    return _page(request, hand, typed, seen_mark(hand.clinic))


@router.post("/calendar")
def change(request: Request, hand: AnyHand, form: AForm) -> Response:
    """Store the calendar; where that takes the day from visits, only after these were shown.

    Plans that are signed keep their visits; the next plan follows it.
    """
    seen = first(form, "seen")
    try:
        calendar, caps = _read(form, hand.calendar), first(form, "caps") == "yes"
        shown = frozenset(form.get("confirmed", []))
        hit = replace_calendar(
            hand, calendar, seen=seen, cap_colours=caps, address=first(form, "address"), shown=shown
        )
        if hit:
            return _page(request, hand, form, seen, hit=hit)
    except FollowupError as exc:
        return _page(request, hand, form, seen, error=exc.line, status=status_of(exc))
    return go("/calendar")


def seen_mark(clinic: Clinic) -> str:
    """What a form or program must send back, so that it changes only what it has seen."""
    seen = json.dumps([clinic.calendar, clinic.cap_colours, clinic.address])
    return hashlib.sha256(seen.encode()).hexdigest()[:16]


def _newly_hit(session: Session, hand: DeskHand, old: Calendar, new: Calendar) -> tuple[TripView, ...]:
    """The visits that the stored calendar offers and the new one does not."""
    before = {trip.id for trip in visits_without_offer(session, old, hand.today)}
    after = visits_without_offer(session, new, hand.today)
    return tuple(trip for trip in after if trip.id not in before)


def replace_calendar(
    hand: DeskHand,
    calendar: dict[str, Any],
    *,
    seen: str,
    cap_colours: bool | None = None,
    address: str | None = None,
    shown: frozenset[str] | None = None,
) -> tuple[TripView, ...]:
    """Store a calendar that was read already. ``seen``: the mark of the one that the change was made from.

    ``cap_colours`` says whether sheets draw the caps of bottles in colour; None leaves it as it is;
    so with ``address``, where patients come to. ``shown``: the ids of the visits that the person knows
    to lose their day; where there are others, nothing is stored and all of them come back.
    Errors: ``calendar.site``, ``store.conflict``.
    """
    if hand.actor.site is not None:
        raise FollowupError(
            "calendar.site",
            say("the calendar of one site is not changed here"),
            fix=say("ask the clinic's manager"),
        )
    must_print_text(address or "", "address")
    must_print_text((calendar.get("closed_days") or {}).get("place") or "", "place")
    with hand.store.write(hand.actor, hand.now) as unit:
        clinic = get_clinic(unit.session)
        if seen_mark(clinic) != seen:
            raise FollowupError(
                "store.conflict",
                say("someone else changed the calendar meanwhile"),
                fix=say("open it again and repeat what is still needed"),
            )
        if shown is not None:
            new = parse_calendar(calendar, "calendar")
            hit = _newly_hit(unit.session, hand, clinic_calendar_of(clinic), new)
            if not {str(trip.id) for trip in hit} <= shown:
                return hit
        caps = clinic.cap_colours if cap_colours is None else cap_colours
        where = clinic.address if address is None else address.strip()
        put_clinic(unit, replace(clinic, calendar=json.dumps(calendar), cap_colours=caps, address=where))
    return ()


def _read(form: Posted, old: Calendar) -> dict[str, Any]:
    """The calendar as JSON, checked. What has no field on the page stays as it is."""
    kept = old.model_dump(mode="json", exclude_defaults=True)
    half = [h for h in kept.get("half_days", []) if h.get("services") or h.get("capacity") == "whole"]
    half += [{"weekday": day} for day in form.get("half_weekday", [])]
    half += [{"date": day} for day in _lines(form, "half_dates")]
    kept |= {
        "open_weekdays": form.get("open", []),
        "holidays": _lines(form, "holidays"),
        "extra_days": _lines(form, "extra_days"),
        "services": _services(
            form, {s.name: s.model_dump(mode="json", exclude_none=True) for s in old.services}
        ),
        "half_days": half,
        "only_listed_services": first(form, "only_listed") == "yes",
        "closed_days": _closed_days(form),
    }
    parse_calendar(parse_json_object(json.dumps(kept), "calendar"), "calendar")
    return kept


def _closed_days(form: Posted) -> dict[str, str] | None:
    """What becomes of a first look on closed days; nothing where the clinic has not said."""
    said = {"first_look": first(form, "first_look")}
    said |= {name: first(form, f"on_call_{name}") for name in ("place", "opens", "closes")}
    return {name: text for name, text in said.items() if text} if said["first_look"] else None


def _services(form: Posted, old: dict[str, dict[str, Any]]) -> list[dict[str, Any]]:
    found = []
    for i, name in enumerate(form.get("service", [])):
        if not name.strip():
            continue
        entry = {k: v for k, v in old.get(name.strip(), {}).items() if k == "dates"} | {"name": name.strip()}
        places = form.get("capacity", [])[i : i + 1]
        if places and places[0].strip():
            entry["capacity"] = _number(places[0].strip())
        if days := form.get(f"days.{i}", []):
            entry["weekdays"] = days
        found.append(entry)
    return found


def _number(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and len(text) < 7):
        raise FollowupError(
            "calendar.places",
            say("{text} is no number of places", text=typed(text[:20])),
            where=say("places a day"),
            fix=say("write digits"),
        )
    return int(text)


def _lines(form: Posted, name: str) -> list[str]:
    return [part for part in re.split(r"[\s,;]+", first(form, name)) if part]


def _typed_of(calendar: Calendar) -> Posted:
    """The form of a calendar."""
    plain = [h for h in calendar.half_days if not h.services and h.capacity == "half"]
    typed: Posted = {
        "open": list(calendar.open_weekdays),
        "holidays": ["\n".join(day.isoformat() for day in sorted(calendar.holidays))],
        "extra_days": ["\n".join(day.isoformat() for day in sorted(calendar.extra_days))],
        "half_weekday": [h.weekday for h in plain if h.weekday],
        "half_dates": ["\n".join(h.date.isoformat() for h in plain if h.date)],
        "service": [s.name for s in calendar.services],
        "capacity": ["" if s.capacity is None else str(s.capacity) for s in calendar.services],
        "only_listed": ["yes"] if calendar.only_listed_services else [],
    }
    if closed := calendar.closed_days:
        typed["first_look"] = [closed.first_look]
        typed |= {f"on_call_{name}": [getattr(closed, name) or ""] for name in ("place", "opens", "closes")}
    return typed | {f"days.{i}": list(s.weekdays or ()) for i, s in enumerate(calendar.services)}


def _page(
    request: Request,
    hand: DeskHand,
    typed: Posted,
    seen: str,
    *,
    hit: tuple[TripView, ...] = (),
    error: str | None = None,
    status: int = 200,
) -> Response:
    with hand.store.read() as session:
        closed = visits_without_offer(session, hand.calendar, hand.today)
    return show(
        request,
        "calendar.html",
        status=status,
        typed=typed,
        seen=seen,
        weekdays=WEEKDAYS,
        rows=len(typed.get("service", [])) + SPARE_ROWS,
        hit=hit,
        closed=closed,
        error=error,
    )
