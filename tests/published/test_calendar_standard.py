"""The next visit's entry for a phone's calendar, read back by the reference library of RFC 5545."""

from __future__ import annotations

from datetime import UTC, date, datetime

import icalendar
import pytest
from dateutil.tz import gettz
from hypothesis import example, given
from hypothesis import strategies as st

from followup.sheets.content import ClinicInfo, SheetIssue
from followup.sheets.squares import calendar_entry

ISSUE = SheetIssue("7KQ2-MX4D-9TA", "EYE1.K1.LH.7KQ2MX4D9TA.4F7Q2M8C", "LH-0042", date(2026, 6, 1))
# Every offset from UTC that makes a difference: both ends, half and quarter hours, clocks that change.
ZONES = (
    *("UTC", "Asia/Kolkata", "Asia/Kathmandu", "Pacific/Kiritimati", "Pacific/Pago_Pago"),
    *("America/Lima", "America/New_York", "Europe/London", "Africa/Cairo", "Australia/Lord_Howe"),
)
# A change of the clock within the day: London, New York, Lord Howe in 2027.
CHANGES = (date(2027, 3, 28), date(2027, 10, 31), date(2027, 3, 14), date(2027, 11, 7), date(2027, 4, 4))


def clinic(name: str = "Lantern Hill Eye Clinic", zone: str = "UTC") -> ClinicInfo:
    return ClinicInfo(name, "LH", "+44 20 7946 0101", "+44 20 7946 0102", None, zone)


def event(written: str) -> icalendar.Event:
    calendar = icalendar.Calendar.from_ical(written)
    assert calendar["VERSION"] == "2.0"
    assert calendar["PRODID"]
    (found,) = calendar.walk("VEVENT")
    return found


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("day", [date(2028, 2, 29), date(2026, 12, 31), *CHANGES], ids=str)
def test_rfc_5545_an_entry_without_an_hour_is_of_the_whole_local_day(zone, day):
    assert event(calendar_entry(day, clinic(zone=zone), ISSUE)).decoded("DTSTART") == day


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("day", [date(2028, 2, 29), date(2026, 12, 31), *CHANGES], ids=str)
@pytest.mark.parametrize("hour", ["00:30", "09:05", "23:30"])
def test_rfc_5545_an_entry_at_an_hour_rings_at_that_hour_by_the_clinics_clock(zone, day, hour):
    begins = event(calendar_entry(day, clinic(zone=zone), ISSUE, hour=hour)).decoded("DTSTART")
    assert begins.tzinfo is not None
    # Read with another reader of the tz database than the one that wrote it.
    assert begins.astimezone(gettz(zone)).strftime("%Y-%m-%d %H:%M") == f"{day} {hour}"


@given(st.text(max_size=80), st.sampled_from(["09:30", None]))
@example("\x1b", None)
def test_rfc_5545_any_name_of_a_clinic_gives_one_event_and_nothing_smuggled_in(name, hour):
    written = calendar_entry(date(2026, 6, 2), clinic(name), ISSUE, hour=hour)
    assert written.isascii()
    found = event(written)
    assert set(found) == {"UID", "DTSTAMP", "DTSTART", "SUMMARY"}
    assert found["SUMMARY"].strip()


@given(st.text(st.characters(codec="utf-8"), max_size=200))
def test_rfc_5545_lines_end_in_crlf_and_have_75_octets_at_most(name):
    written = calendar_entry(date(2026, 6, 2), clinic(name), ISSUE, hour="23:59").encode()
    assert max(map(len, written.split(b"\r\n"))) <= 75
    assert b"\n" not in written.replace(b"\r\n", b"")
    assert b"\r" not in written.replace(b"\r\n", b"")


def test_rfc_5545_the_title_keeps_what_the_standard_escapes():
    found = event(calendar_entry(date(2026, 6, 2), clinic("Eyes; lids, tears \\ Mill Road"), ISSUE))
    assert str(found["SUMMARY"]) == "Eyes; lids, tears \\ Mill Road"


def test_an_entry_is_known_by_its_sheet_and_stamped_when_that_was_printed():
    found = event(calendar_entry(date(2026, 6, 2), clinic(), ISSUE))
    assert str(found["UID"]) == "7KQ2MX4D9TA"
    assert found.decoded("DTSTAMP") == datetime(2026, 6, 1, tzinfo=UTC)
