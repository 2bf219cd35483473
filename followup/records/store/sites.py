"""Several places of one clinic in one database; staff bound to one see its patients alone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from sqlmodel import Session, col, select

from followup.clinical.record import parse_json_object
from followup.errors import FollowupError
from followup.records.duties import PROGRAM
from followup.records.store.binding import ALL_SITES, MAIN
from followup.records.store.store import Unit
from followup.records.tables import PatientRow, SiteRow
from followup.said import say
from followup.timing.calendar import parse_calendar
from followup.typed import typed


@dataclass(frozen=True)
class Site:
    """A place of the clinic. What is empty is as for the whole clinic."""

    id: int
    code: str
    name: str
    phone_day: str = ""
    phone_night: str = ""
    calendar: str = ""
    address: str = ""


def site_of_patient(session: Session, patient_id: int) -> int:
    """The site that follows the patient."""
    found = session.exec(
        select(PatientRow.site_id).where(PatientRow.id == patient_id), execution_options=ALL_SITES
    ).first()
    return found or MAIN


def sites_of(session: Session, patients: Iterable[int]) -> dict[int, int]:
    """The site that follows each of these patients."""
    rows = session.exec(
        select(col(PatientRow.id), PatientRow.site_id).where(col(PatientRow.id).in_(set(patients))),
        execution_options=ALL_SITES,
    )
    return {number: site for number, site in rows if number is not None}


def all_sites(session: Session) -> tuple[Site, ...]:
    """Every site, the first one first."""
    return tuple(_site(row) for row in session.exec(select(SiteRow).order_by(col(SiteRow.id))))


def put_site(unit: Unit, site: Site) -> Site:
    """Add a site (``id`` 0) or change one; its journal entry is the caller's. The command line's work alone.

    Errors: ``role.missing``, ``site.code``, ``site.name``, ``site.unknown``, those of a calendar.
    """
    unit.need_role(PROGRAM)
    session = unit.session
    if not (site.code.isascii() and site.code.isalnum() and 1 <= len(site.code) <= 8):
        raise FollowupError(
            "site.code",
            say("{code} is no code", code=typed(site.code)),
            where=say("site"),
            fix=say("use 1 to 8 letters"),
        )
    if not site.name.strip():
        raise FollowupError(
            "site.name", say("the site has no name"), where=say("site"), fix=say("give its name")
        )
    if site.calendar:
        parse_calendar(parse_json_object(site.calendar, "calendar"), "calendar")
    twin = session.exec(select(SiteRow).where(SiteRow.code == site.code)).first()
    if twin is not None and twin.id != site.id:
        raise FollowupError(
            "site.code",
            say("{code} is in use", code=typed(site.code)),
            where=say("site"),
            fix=say("choose another code"),
        )
    row = session.get(SiteRow, site.id) if site.id else SiteRow(code="", name="")
    if row is None:
        raise FollowupError("site.unknown", say("no such site"), fix=say("look at the list of sites"))
    for name in ("code", "name", "phone_day", "phone_night", "calendar", "address"):
        setattr(row, name, getattr(site, name))
    session.add(row)
    session.flush()
    return replace(site, id=row.id or 0)


def _site(row: SiteRow) -> Site:
    return Site(row.id or 0, row.code, row.name, row.phone_day, row.phone_night, row.calendar, row.address)
