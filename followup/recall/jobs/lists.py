"""The day's visits and those to reach as plain lines, for a terminal, a spreadsheet or a program."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import TYPE_CHECKING

from followup.cells import guarded
from followup.clinical.protocol.protocol import LookKind, text_of
from followup.clinical.protocol.recall import RecallRules
from followup.clinical.record import Eye
from followup.clinical.words.gist import ListedNeed, PlanGist
from followup.language.catalogues import Translator
from followup.recall.reach.lateness import VisitDays, lateness
from followup.recall.reach.worklist import reason, worklist
from followup.records.house.clinics import clinic_zone
from followup.records.people.patients import patients_by_id
from followup.records.plans.listed import plan_gists
from followup.records.store.store import Session
from followup.records.trips.trips import day_trips
from followup.records.views import PatientView, TripView

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


@dataclass(frozen=True)
class DueLine:
    """A visit of the day. ``standing``: due today, here, done, late...; ``for_what``: the checks in words."""

    code: str
    name: str
    age: str
    eyes: tuple[Eye, ...]
    visit: int
    day: date
    standing: str
    for_what: tuple[str, ...]
    services: tuple[str, ...]
    last_day: date
    telephones: tuple[str, ...]


@dataclass(frozen=True)
class ReachLine:
    """Someone to reach. ``days``: days past the last possible one; ``why`` in whole sentences."""

    kind: str
    code: str
    name: str
    age: str
    eyes: tuple[Eye, ...]
    tier: str
    days: int
    since: date
    last_day: date | None
    why: str
    for_what: tuple[str, ...]
    telephones: tuple[str, ...]


def due_lines(
    session: Session, day: date, now: datetime, kinds: Mapping[str, LookKind]
) -> tuple[DueLine, ...]:
    """Everybody expected on ``day``, as it stands at ``now``; ``kinds`` puts the checks into words."""
    trips = day_trips(session, day)
    people = patients_by_id(session, {trip.patient_id for trip in trips})
    gists = plan_gists(session, {trip.plan_id for trip in trips})
    zone = clinic_zone(session)
    today = now.astimezone(zone).date()
    return tuple(
        DueLine(
            code=trip.patient_code,
            name=trip.patient_name,
            age=people[trip.patient_id].age_on(day),
            eyes=_eyes(_needs(trip, gists), people[trip.patient_id]),
            visit=trip.number,
            day=trip.day,
            standing=lateness(
                VisitDays(trip.day, trip.window_end, trip.status, trip.is_unseen(today)), now, zone
            ),
            for_what=_words(_needs(trip, gists), kinds) or _watched(trip, gists, kinds),
            services=trip.services,
            last_day=trip.window_end,
            telephones=_telephones(people[trip.patient_id]),
        )
        for trip in trips
    )


def reach_lines(
    session: Session,
    now: datetime,
    words: Translator,
    kinds: Mapping[str, LookKind],
    rules: RecallRules | None = None,
) -> tuple[ReachLine, ...]:
    """Whom to reach at ``now``, most pressing first; with the clinic's ``rules`` what to try next."""
    today = now.astimezone(clinic_zone(session)).date()
    return tuple(
        ReachLine(
            kind=item.kind,
            code=item.patient.code,
            name=item.patient.name,
            age=item.patient.age_on(today),
            eyes=item.eyes,
            tier=item.tier,
            days=item.days,
            since=item.since,
            last_day=item.due_by,
            why=reason(item, words),
            for_what=_words(item.checks, kinds),
            telephones=_telephones(item.patient),
        )
        for item in worklist(session, now, rules)
    )


def as_csv(kind: type[DataclassInstance], lines: Sequence[DataclassInstance]) -> str:
    """The lines as CSV with a head line. Several values in one cell are parted by "; "."""
    text = io.StringIO()
    # RFC 4180. With the line feed alone a carriage return inside a cell would begin a new row.
    writer = csv.writer(text, lineterminator="\r\n")
    names = [field.name for field in fields(kind)]
    writer.writerow(names)
    writer.writerows([_cell(getattr(line, name)) for name in names] for line in lines)
    return text.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    # Each part by itself: a spreadsheet that parts cells at ";" makes a cell of it.
    return "; ".join(guarded(part) for part in value) if isinstance(value, tuple) else guarded(str(value))


def _needs(trip: TripView, gists: Mapping[int, PlanGist]) -> tuple[ListedNeed, ...]:
    gist = gists.get(trip.plan_id)
    return gist.needs_of(trip.serves) if gist else ()


def _words(needs: Sequence[ListedNeed], kinds: Mapping[str, LookKind]) -> tuple[str, ...]:
    """Each check once, in the protocol's words; a kind that it no longer knows by its id."""
    return tuple(dict.fromkeys(text_of(n.kind, kinds) for n in needs))


def _watched(trip: TripView, gists: Mapping[int, PlanGist], kinds: Mapping[str, LookKind]) -> tuple[str, ...]:
    """What a visit is for that serves no need: it keeps the time between two checks short."""
    gist = gists.get(trip.plan_id)
    # Whoever came without a visit is here for none of it.
    found = (kind for kind, _ in gist.watched) if gist and trip.services else ()
    return tuple(dict.fromkeys(text_of(kind, kinds) for kind in found))


def _eyes(needs: Sequence[ListedNeed], patient: PatientView) -> tuple[Eye, ...]:
    named = {need.eye for need in needs if need.eye}
    return tuple(eye for eye in patient.eyes if eye in named) or patient.eyes


def _telephones(patient: PatientView) -> tuple[str, ...]:
    return tuple(f"{phone.whose}: {phone.number}" for phone in patient.telephones)
