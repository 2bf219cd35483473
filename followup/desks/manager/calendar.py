"""The clinic's calendar: open days, holidays, services with their days and places, half-days."""

from __future__ import annotations

import json
import re
from contextlib import suppress
from datetime import date, timedelta
from typing import Any

from fastapi import APIRouter, Request, Response

from followup.care.house.calendars import NewCalendar, replace_calendar, seen_mark
from followup.clinical.record import parse_json_object
from followup.desks.door.hand import AnyHand, DeskHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, Posted, as_typed, first
from followup.errors import FollowupError
from followup.language.dates import short_weekday
from followup.language.typed_days import day_in_box, typed_day
from followup.records.trips.closed import visits_without_offer
from followup.records.views import TripView
from followup.said import say
from followup.timing.calendar import WEEKDAYS, Calendar, parse_calendar
from followup.typed import typed

router = APIRouter()
SPARE_ROWS = 2
MONDAY = date(2027, 3, 1)  # any Monday: its week names the days


@router.get("/calendar")
def calendar_page(request: Request, hand: AnyHand) -> Response:
    typed = _typed_of(hand.calendar) | {
        "caps": ["yes"] if hand.clinic.cap_colours else [],
        "days_to_tick": ["yes"] if hand.clinic.days_to_tick else [],
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
        hit = replace_calendar(
            hand,
            as_typed(NewCalendar, calendar=_read(form, hand), seen=seen),
            cap_colours=first(form, "caps") == "yes",
            address=first(form, "address"),
            days_to_tick=first(form, "days_to_tick") == "yes",
            shown=frozenset(form.get("confirmed", [])),
        )
        if hit:
            return _page(request, hand, form, seen, hit=hit)
    except FollowupError as exc:
        return _page(request, hand, form, seen, error=exc.line, status=status_of(exc))
    return go("/calendar")


def _read(form: Posted, hand: DeskHand) -> Calendar:
    """The calendar that the form means. What has no field on the page stays as it is."""
    old = hand.calendar
    kept = old.model_dump(mode="json", exclude_defaults=True)
    half = [h for h in kept.get("half_days", []) if h.get("services") or h.get("capacity") == "whole"]
    half += [{"weekday": day} for day in form.get("half_weekday", [])]
    half += [{"date": day} for day in _days(form, "half_dates", hand)]
    kept |= {
        "open_weekdays": form.get("open", []),
        "holidays": _days(form, "holidays", hand),
        "extra_days": _days(form, "extra_days", hand),
        "services": _services(
            form, {s.name: s.model_dump(mode="json", exclude_none=True) for s in old.services}
        ),
        "half_days": half,
        "only_listed_services": first(form, "only_listed") == "yes",
        "closed_days": _closed_days(form),
    }
    return parse_calendar(parse_json_object(json.dumps(kept), "calendar"), "calendar")


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


def _days(form: Posted, name: str, hand: DeskHand) -> list[str]:
    """The days of a box, one a line, each typed with the day first or as 2027-12-25."""
    return [_day(text, hand).isoformat() for text in _lines(form, name)]


def _day(text: str, hand: DeskHand) -> date:
    try:
        return typed_day(text, hand.today, hand.texts.translator.language, "future")
    except FollowupError as refused:
        raise FollowupError(
            refused.code, refused.line.what, where=typed(text[:30]), fix=refused.line.fix
        ) from None


def _lines(form: Posted, name: str) -> list[str]:
    return [part.strip() for part in re.split(r"[\n,;]+", first(form, name)) if part.strip()]


def _told(form: Posted, name: str, hand: DeskHand) -> list[date]:
    """The days of a box that can be read, to be said in words under it."""
    found = []
    for text in _lines(form, name):
        with suppress(FollowupError):
            found.append(_day(text, hand))
    return sorted(set(found))


def _typed_of(calendar: Calendar) -> Posted:
    """The form of a calendar."""
    plain = [h for h in calendar.half_days if not h.services and h.capacity == "half"]
    typed: Posted = {
        "open": list(calendar.open_weekdays),
        "holidays": ["\n".join(map(day_in_box, sorted(calendar.holidays)))],
        "extra_days": ["\n".join(map(day_in_box, sorted(calendar.extra_days)))],
        "half_weekday": [h.weekday for h in plain if h.weekday],
        "half_dates": ["\n".join(day_in_box(h.date) for h in plain if h.date)],
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
        short=[short_weekday(MONDAY + timedelta(days=i), hand.texts.translator.language) for i in range(7)],
        told={name: _told(typed, name, hand) for name in ("holidays", "extra_days", "half_dates")},
        rows=len(typed.get("service", [])) + SPARE_ROWS,
        hit=hit,
        closed=closed,
        error=error,
    )
