"""The clinic's own data: one row, changed by the manager."""

from __future__ import annotations

from functools import cache
from zoneinfo import ZoneInfo, available_timezones

from sqlmodel import Session

from followup.clinical.record import parse_json_object
from followup.errors import FollowupError
from followup.records.duties import MANAGER, PROGRAM
from followup.records.store.store import Unit
from followup.records.tables import ClinicRow, SiteRow
from followup.records.views import Clinic
from followup.said import say
from followup.timing.calendar import Calendar, parse_calendar


def put_clinic(unit: Unit, clinic: Clinic) -> Clinic:
    """Store the clinic's data.

    Errors: ``role.missing``; ``clinic.`` zone, code, name, phone, years, languages; the calendar's.
    """
    unit.need_role(*MANAGER, PROGRAM)
    unit.need_whole_clinic()
    _check(clinic)
    row = unit.session.get(ClinicRow, 1) or ClinicRow(
        name="", code="X", phone_day="", phone_night="", zone="UTC", sheet_languages=[]
    )
    for name in ("name", "code", "phone_day", "phone_night", "nearest_eye_clinic", "address", "zone"):
        setattr(row, name, getattr(clinic, name))
    row.sheet_languages = list(clinic.sheet_languages)
    row.staff_language = clinic.staff_language
    row.is_sample = clinic.is_sample
    row.calendar = clinic.calendar
    row.cap_colours = clinic.cap_colours
    row.days_to_tick = clinic.days_to_tick
    row.keep_years = clinic.keep_years
    unit.session.add(row)
    unit.log("clinic changed", "clinic", name=clinic.name, code=clinic.code, zone=clinic.zone)
    return clinic


def is_set_up(session: Session) -> bool:
    """Whether a clinic is there already."""
    return session.get(ClinicRow, 1) is not None


def get_clinic(session: Session, site: int | None = None) -> Clinic:
    """The clinic's data, as ``site`` (else the session's own) has them.

    Error: ``clinic.missing`` before it was set up.
    """
    row = session.get(ClinicRow, 1)
    if row is None:
        raise FollowupError(
            "clinic.missing", say("the clinic is not set up yet"), fix=say("run: followup init")
        )
    number = site or session.info.get("site")
    place = session.get(SiteRow, number) if number else None
    own = place or SiteRow(code="", name="")
    return Clinic(
        name=own.name or row.name,
        code=row.code,
        phone_day=own.phone_day or row.phone_day,
        phone_night=own.phone_night or row.phone_night,
        zone=row.zone,
        nearest_eye_clinic=row.nearest_eye_clinic,
        address=own.address or row.address,
        sheet_languages=tuple(row.sheet_languages),
        staff_language=row.staff_language,
        is_sample=row.is_sample,
        calendar=own.calendar or row.calendar,
        cap_colours=row.cap_colours,
        days_to_tick=row.days_to_tick,
        keep_years=row.keep_years,
    )


def clinic_calendar_of(clinic: Clinic) -> Calendar:
    """The calendar as the clinic's manager wrote it. Errors: those of a calendar file."""
    return parse_calendar(parse_json_object(clinic.calendar, "calendar"), "calendar")


def clinic_zone(session: Session) -> ZoneInfo:
    """The clinic's time zone."""
    return ZoneInfo(get_clinic(session).zone)


@cache
def _zones() -> frozenset[str]:
    """The names of all time zones; looking for them takes a walk through their files."""
    return frozenset(available_timezones())


def _check(clinic: Clinic) -> None:
    if clinic.zone not in _zones():
        raise _refused(
            say("zone"),
            say("{zone} is no time zone", zone=clinic.zone),
            say("give an IANA name such as Asia/Kolkata"),
        )
    if not (clinic.code.isascii() and clinic.code.isalnum() and clinic.code == clinic.code.upper()):
        raise _refused(
            say("code"),
            say("{code} can't stand in a code", code=clinic.code),
            say("use capital letters and digits"),
        )
    if not 1 <= len(clinic.code) <= 8:
        raise _refused(say("code"), say("the clinic's code has 1 to 8 characters"), say("shorten it"))
    if not clinic.name.strip():
        raise _refused(say("name"), say("the clinic has no name"), say("give the name that patients know"))
    if not (clinic.phone_day.strip() and clinic.phone_night.strip()):
        raise _refused(
            say("phone"),
            say("a telephone number is missing"),
            say("give one for the day and one for the night"),
        )
    if clinic.keep_years is not None and not 1 <= clinic.keep_years <= 100:
        raise _refused(
            say("years"),
            say("a record is kept for 1 to 100 years"),
            say("give the years that the law of the place says"),
        )
    if not clinic.sheet_languages:
        raise _refused(
            say("languages"), say("no language for the sheets"), say("name at least one, such as en")
        )
    clinic_calendar_of(clinic)


def _refused(field: str, what: str, fix: str) -> FollowupError:
    return FollowupError(f"clinic.{field}", what, where=say("clinic: {field}", field=field), fix=fix)
