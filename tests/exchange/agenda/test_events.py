"""Files for calendars, read back by a strict reader written from RFC 5545 and by the library icalendar."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import icalendar
import pytest
from dateutil.tz import datetime_ambiguous, datetime_exists, gettz
from hypothesis import given
from hypothesis import strategies as st
from rfc5545 import offset_of, read_calendar

from followup.exchange.agenda.events import AgendaEvent, calendar_file
from followup.exchange.agenda.wording import DROPS, VISIT, said
from followup.language.catalogues import translator
from followup.language.dates import hour_words, long_date
from followup.language.languages import LANGUAGES
from followup.records.views import Clinic

DAY = date(2026, 6, 9)
STAMP = datetime(2026, 6, 1, 8, 30, 15, tzinfo=UTC)
CLINIC = Clinic(
    name="Lantern Hill Eye Clinic",
    code="LH",
    phone_day="+44 20 7946 0101",
    phone_night="+44 20 7946 0102",
    zone="Asia/Kolkata",
    address="4 Mill Road, Ford",
)
# Names as clinics of these scripts could bear them: as long as a form allows, three octets a letter.
LONG = {
    "hi": "दीपक पहाड़ी नेत्र चिकित्सालय और शल्य चिकित्सा केंद्र " * 2,
    "ar": "مستشفى تل الفانوس للعيون وجراحة الماء الأبيض " * 2,
    "ta": "விளக்கு மலை கண் மருத்துவமனை மற்றும் அறுவை சிகிச்சை மையம் " * 2,
}
ZONES = (
    *("UTC", "Asia/Kolkata", "Asia/Kathmandu", "Pacific/Kiritimati", "America/Lima", "America/New_York"),
    *("Europe/London", "Africa/Cairo", "Africa/Casablanca", "Australia/Lord_Howe"),
)


def visit(**more) -> AgendaEvent:
    return replace(AgendaEvent("visit-1.LH", 0, STAMP, DAY, "Visit at the clinic."), **more)


def both(events, zone="Asia/Kolkata", name="Lantern Hill"):
    """What both readers make of the same bytes."""
    data = calendar_file(events, name=name, zone=zone)
    return read_calendar(data), icalendar.Calendar.from_ical(data)


@pytest.mark.parametrize("tag", sorted(LANGUAGES))
def test_in_every_language_both_readers_find_the_sentence_the_hour_and_the_code(tag):
    words = translator(tag)
    clinic = replace(CLINIC, name=LONG.get(tag, CLINIC.name).strip())
    text = said("reminder", "patient", clinic, DAY, words, hour="09:40", code="7KQ2-MX4D-9TA")
    told = visit(summary=words.gettext(VISIT), description=text, hour="09:40", place=clinic.name)
    ours, theirs = both([told], name=clinic.name)
    (event,) = ours.all("VEVENT")
    (other,) = theirs.walk("VEVENT")
    for read in (event.text, lambda field: str(other[field])):
        assert read("SUMMARY") == words.gettext(VISIT)
        assert read("LOCATION") == clinic.name
        lines = read("DESCRIPTION").splitlines()
        assert lines[-1] == "7KQ2-MX4D-9TA"
        assert lines[-2] == words.gettext("Return code")
        assert long_date(DAY, words.language) in lines[0]
        assert hour_words("09:40", words) in lines[0]
    assert event.value("DTSTART") == "20260609T094000"
    assert event.parameters("DTSTART") == {"TZID": "Asia/Kolkata"}
    assert words.gettext(DROPS) != words.gettext(VISIT)
    if tag != "en":
        assert words.gettext(DROPS) != DROPS


CHANGING = ZONES[5:]
FIELDS = "UID SEQUENCE DTSTAMP DTSTART DTEND SUMMARY DESCRIPTION LOCATION STATUS CLASS"
ANY = st.characters(codec="utf-8")


@given(st.text(ANY, max_size=300), st.text(ANY, max_size=120))
def test_whatever_is_written_lines_have_75_octets_at_most_and_nothing_is_smuggled_in(text, place):
    ours, theirs = both([visit(description=text, place=place)])
    (event,) = ours.all("VEVENT")
    assert {name for name, _, _ in event.lines} <= set(FIELDS.split())
    (other,) = theirs.walk("VEVENT")
    assert str(other.get("DESCRIPTION", "")) == event.text("DESCRIPTION")
    kept = "".join(c for c in text if c.isalnum())
    assert "".join(c for c in event.text("DESCRIPTION") if c.isalnum()) == kept


def test_signs_that_the_standard_escapes_come_back_as_they_were():
    text = "Eyes; lids, tears \\ Mill Road\nsecond line"
    ours, theirs = both([visit(description=text)])
    assert ours.all("VEVENT")[0].text("DESCRIPTION") == text
    assert str(theirs.walk("VEVENT")[0]["DESCRIPTION"]) == text


def test_a_day_ends_where_the_next_begins_and_hours_of_a_place_are_its_hours():
    ours, theirs = both([visit(), visit(uid="b", opens=("10:00", "12:30"))])
    whole, timed = ours.all("VEVENT")
    assert (whole.value("DTSTART"), whole.value("DTEND")) == ("20260609", "20260610")
    assert whole.parameters("DTSTART") == {"VALUE": "DATE"}
    assert (timed.value("DTSTART"), timed.value("DTEND")) == ("20260609T100000", "20260609T123000")
    assert theirs.walk("VEVENT")[0].decoded("DTSTART") == DAY


def test_a_visit_that_is_not_to_be_is_cancelled_and_one_that_is_to_be_confirmed():
    ours, _ = both([visit(cancelled=True, sequence=3), visit(uid="b")])
    told = [(event.value("STATUS"), event.value("SEQUENCE")) for event in ours.all("VEVENT")]
    assert told == [("CANCELLED", "3"), ("CONFIRMED", "0")]
    assert {event.value("CLASS") for event in ours.all("VEVENT")} == {"PRIVATE"}
    assert {event.value("DTSTAMP") for event in ours.all("VEVENT")} == {"20260601T083015Z"}


@pytest.mark.parametrize("zone", ZONES)
def test_the_clock_in_the_file_is_that_of_the_clinics_zone(zone):
    """Read with another reader of the tz database (dateutil) than the one that wrote it, noon by noon."""
    ours, _ = both([visit(hour="09:00"), visit(uid="b", day=DAY + timedelta(days=400))], zone)
    (clock,) = ours.all("VTIMEZONE")
    assert clock.value("TZID") == zone
    for number in range(0, 401, 5):
        noon = datetime.combine(DAY, time(12)) + timedelta(days=number)
        assert offset_of(clock, noon) == noon.replace(tzinfo=gettz(zone)).utcoffset(), noon


@pytest.mark.parametrize("zone", ZONES)
def test_the_clock_in_the_file_changes_at_the_very_half_hour_at_which_the_zone_does(zone):
    ours, _ = both([visit(hour="09:00")], zone)
    (clock,) = ours.all("VTIMEZONE")
    known, changed = gettz(zone), 0
    for number in range(365):
        midnight = datetime.combine(date(2026, 7, 1), time()) + timedelta(days=number)
        ends = (midnight.replace(tzinfo=known), (midnight + timedelta(days=1)).replace(tzinfo=known))
        if ends[0].utcoffset() == ends[1].utcoffset():
            continue
        changed += 1
        for half in range(48):
            local = midnight + timedelta(minutes=30 * half)
            aware = local.replace(tzinfo=known)
            # Times that there are twice, or not at all, are nobody's hour.
            if datetime_exists(aware) and not datetime_ambiguous(aware):
                assert offset_of(clock, local) == aware.utcoffset(), local
    assert (changed > 0) == (zone in CHANGING)


def test_summer_time_is_told_as_that_by_its_name():
    ours, _ = both([visit(hour="09:00")], "Europe/London")
    (clock,) = ours.all("VTIMEZONE")
    names = {(part.kind, part.value("TZNAME"), part.value("TZOFFSETTO")) for part in clock.parts}
    assert names == {("STANDARD", "GMT", "+0000"), ("DAYLIGHT", "BST", "+0100")}


def test_the_same_events_give_the_same_bytes_and_none_at_all_is_a_calendar_too():
    events = [visit(hour="09:00"), visit(uid="b")]
    one, again = (calendar_file(events, name="x", zone="Europe/London") for _ in range(2))
    assert one == again
    empty, _ = both([])
    assert empty.parts == []
