"""The codes on the sheet: the return code for reception, the next visit and the telephone for a phone.

ASCII alone, and nothing about the patient: the calendar entry names the clinic and the day.
"""

from __future__ import annotations

import unicodedata
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from followup.errors import FollowupError
from followup.said import say
from followup.sheets.head import ClinicInfo, SheetIssue
from followup.sheets.inputs import SheetInputs
from followup.sheets.model import ReturnCode, Square
from followup.sheets.visits import when

# RFC 5545 asks for lines of at most 75 octets; the whole must fit a code that phones read from paper.
_LONGEST_TITLE = 40


def return_code(inputs: SheetInputs, issue: SheetIssue | None) -> ReturnCode | None:
    if issue is None:
        return None
    return ReturnCode(
        # Translators: over the square that reception scans when the patient comes back.
        label=inputs.words.gettext("Return code"),
        grouped=inputs.number(issue.code_grouped),
        payload=issue.qr_payload,
    )


def squares(inputs: SheetInputs, clinic: ClinicInfo, issue: SheetIssue | None) -> tuple[Square, ...]:
    """Codes for the patient's own phone; a draft has none."""
    if issue is None:
        return ()
    _ = inputs.words.gettext
    found = []
    trip = next(iter(inputs.plan.to_come(inputs.printed_on)), None)
    # No phone need remember a visit of this very day.
    if trip is not None and trip.date > issue.printed_on:
        found.append(
            Square(
                id="visit",
                # Translators: over a square that puts the next visit into the calendar of a phone.
                label=_("Next visit"),
                words=when(inputs, trip),
                payload=calendar_entry(trip.date, clinic, issue, hour=trip.hour),
            )
        )
    number = dialled(clinic.telephone_day)
    if number:
        found.append(
            Square(
                id="call",
                # Translators: over a square that lets a phone ring the clinic.
                label=_("Call us"),
                words=inputs.number(clinic.telephone_day),
                payload=f"tel:{number}",
            )
        )
    return tuple(found)


def calendar_entry(day: date, clinic: ClinicInfo, issue: SheetIssue, *, hour: str | None = None) -> str:
    """A visit as an iCalendar object (RFC 5545) for a phone's calendar: of the whole ``day``, or at its hour.

    ``hour`` ("14:30") is by the clock of the clinic's time zone; the entry holds it in UTC, which every
    phone puts on its own clock.
    Raises FollowupError ``sheet.code`` where the sheet's number cannot name the entry.
    """
    uid = "".join(c for c in issue.code_grouped if c.isascii() and c.isalnum())
    if not uid:
        raise FollowupError(
            "sheet.code", say("the sheet has no code to name its visit by"), fix=say("issue it anew")
        )
    return "\r\n".join(
        (
            "BEGIN:VCALENDAR",
            "VERSION:2.0",
            "PRODID:followup",
            "BEGIN:VEVENT",
            f"UID:{uid}",
            f"DTSTAMP:{issue.printed_on:%Y%m%d}T000000Z",
            _start(day, hour, clinic.time_zone),
            f"SUMMARY:{_title(clinic)}",
            "END:VEVENT",
            "END:VCALENDAR",
        )
    )


def _start(day: date, hour: str | None, zone: str) -> str:
    if hour is None:
        return f"DTSTART;VALUE=DATE:{day:%Y%m%d}"
    begins = datetime.combine(day, time.fromisoformat(hour), ZoneInfo(zone)).astimezone(UTC)
    return f"DTSTART:{begins:%Y%m%dT%H%M%SZ}"


def _title(clinic: ClinicInfo) -> str:
    """The clinic's name as far as it is written in Latin letters, else its code."""
    plain = unicodedata.normalize("NFKD", clinic.name)
    letters = "".join(c for c in plain if not unicodedata.combining(c))
    whole = letters.isascii() and _one_line(letters)
    title = letters if whole else f"Eye clinic {clinic.code}".strip()
    escaped = ["\\" + c if c in "\\;," else c for c in _one_line(title)]
    while len("".join(escaped)) > _LONGEST_TITLE:
        escaped.pop()
    return "".join(escaped).rstrip()


def _one_line(text: str) -> str:
    return " ".join("".join(c for c in text if c.isprintable()).split())


def dialled(number: str) -> str:
    """What a telephone dials: the digits, and the plus in front."""
    digits = "".join(c for c in number if c.isascii() and c.isdigit())
    return f"+{digits}" if digits and "+" in number else digits
