"""The waking day on the clock."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.errors import FollowupError
from followup.timing.rounds import WakingHours

RISING = st.integers(0, 24 * 60 - 1)


def test_slots_run_hourly_from_rising_to_bedtime_both_included():
    day = WakingHours.of("06:00", "22:00")
    assert [day.clock(slot) for slot in (0, 1, 16)] == ["06:00", "07:00", "22:00"]
    assert day.slots == 17


def test_slots_keep_the_minute_of_rising_and_never_pass_bedtime():
    day = WakingHours.of("06:30", "22:00")
    assert [day.clock(slot) for slot in range(day.slots)][-2:] == ["20:30", "21:30"]


def test_a_bedtime_before_rising_is_after_midnight_and_belongs_to_the_date_of_rising():
    day = WakingHours.of("16:00", "09:00")
    assert (day.hours, day.clock(8), day.clock(17)) == (17, "00:00", "09:00")
    assert [day.clock(slot) for slot in (0, 7)] == ["16:00", "23:00"]


@pytest.mark.parametrize(("bedtime", "hours"), [("18:00", 12), ("18:01", 12), ("23:59", 17), ("00:00", 18)])
def test_twelve_to_eighteen_hours_awake_can_be_planned(bedtime, hours):
    assert WakingHours.of("06:00", bedtime).hours == hours


@pytest.mark.parametrize("bedtime", ["17:59", "00:01", "06:00", "05:59"])
def test_any_other_day_is_asked_about_and_not_guessed(bedtime):
    with pytest.raises(FollowupError) as refused:
        WakingHours.of("06:00", bedtime)
    assert refused.value.code == "rounds.waking"
    assert bedtime in refused.value.what
    assert "ask when the patient" in refused.value.fix


@pytest.mark.parametrize(("rise", "hours"), [(-1, 16), (1440, 16), (360, 11), (360, 19)])
def test_a_waking_day_off_the_clock_is_refused(rise, hours):
    with pytest.raises(FollowupError) as refused:
        WakingHours(rise, hours)
    assert refused.value.code == "rounds.waking"


@pytest.mark.parametrize("clock", ["6:00", "24:00", "06:60", "0600", "", "06:00:00", "06:00\n"])
def test_what_is_no_clock_time_is_refused(clock):
    with pytest.raises(FollowupError) as refused:
        WakingHours.of(clock, "22:00")
    assert refused.value.code == "rounds.waking"


@pytest.mark.parametrize("slot", [-1, 17])
def test_a_slot_outside_the_day_is_refused(slot):
    with pytest.raises(FollowupError) as refused:
        WakingHours.of("06:00", "22:00").clock(slot)
    assert refused.value.code == "rounds.waking"


@pytest.mark.parametrize(
    ("clock", "slot"),
    [("08:29", 2), ("08:30", 2), ("08:31", 3), ("01:59", 16), ("02:00", 0), ("02:01", 0), ("23:00", 16)],
)
def test_a_time_goes_to_the_nearest_slot_and_at_night_to_bedtime_or_rising(clock, slot):
    assert WakingHours.of("06:00", "22:00").slot_of(clock) == slot


@given(RISING, st.integers(12, 18))
def test_every_slot_finds_itself_by_its_clock_time(rise, hours):
    day = WakingHours(rise, hours)
    assert [day.slot_of(day.clock(slot)) for slot in range(day.slots)] == list(range(day.slots))


@given(RISING, st.integers(12, 18))
def test_midnight_is_passed_once_and_for_good(rise, hours):
    day = WakingHours(rise, hours)
    clocks = [day.clock(slot) for slot in range(day.slots)]
    falls = [earlier > later for earlier, later in itertools.pairwise(clocks)]
    assert falls.count(True) <= 1
