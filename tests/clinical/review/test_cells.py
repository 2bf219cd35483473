"""Cells and the taper, row by row. The rows are common practice, no source, but where one is named."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.clinical.careplan import CourseEdit

UVEITIC = {"uveitis": {"kind": "anterior", "last_active": "2025-06-01"}}


def eight_a_day(day: int) -> CourseEdit:
    """From that day on 8 a day for two weeks."""
    starts = date(2026, 3, 2) + timedelta(days=day)
    return CourseEdit(course="right:steroid", starts=starts, steps=((8, 14),), reason="worse", by="Dr Sen")


@pytest.mark.parametrize(
    ("day", "quiet", "uveitic"),
    [
        (1, "2+", "3+"),
        (4, "2+", "3+"),
        (5, "1+", "1+"),
        (9, "1+", "1+"),
        (13, "1+", "1+"),
        (14, "0.5+", "1+"),
        (27, "0.5+", "1+"),
        (28, "0", "0.5+"),
        (41, "0", "0.5+"),
        (42, "0", "0"),
        (120, "0", "0"),
    ],
)
def test_the_most_cells_expected_hold_until_the_next_row_begins(protocol, day, quiet, uveitic):
    assert protocol.review.expected_cells(False, day) == quiet
    assert protocol.review.expected_cells(True, day) == uveitic


@pytest.mark.parametrize(("day", "cells"), [(1, "2+"), (7, "1+"), (14, "0.5+"), (28, "0")])
def test_at_or_under_what_is_expected_the_taper_goes_on(look, day, cells):
    seen = look(day, cells=cells)
    assert seen.ids() == ["go-on"]
    assert seen.proposal("go-on").adjustments == ()


def test_over_what_is_expected_and_not_worse_the_step_is_held_seven_days_more(look):
    seen = look(14, cells="1+", before={7: {"cells": "1+"}})
    assert seen.ids() == ["hold"]
    # Day 14 is the last day of 3 a day: tomorrow 3 again for a week, then 2 and 1 whole.
    assert seen.steps("hold") == "3x7 2x7 1x7"


def test_a_hold_in_the_middle_of_a_step_runs_seven_days_from_the_look(look):
    seen = look(16, cells="1+", before={7: {"cells": "1+"}})
    assert seen.steps("hold") == "2x7 1x7"


def test_a_hold_never_cuts_a_long_step_short(look, someone):
    # Half way through two weeks of 3 a day (days 36 to 49) seven days are left anyway; later they are not.
    data = someone(eye=UVEITIC)
    assert look(42, data, cells="0.5+", before={35: {"cells": "0.5+"}}).proposal("hold").adjustments == ()
    later = look(45, data, cells="0.5+", before={42: {"cells": "0.5+"}})
    assert later.steps("hold") == "3x7 2x14 1x14"


def test_one_step_worse_goes_back_one_count_for_a_week_and_then_all_later_steps_whole(look):
    seen = look(15, cells="1+", before={7: {"cells": "0.5+"}})
    assert seen.ids() == ["step-back"]
    assert seen.steps("step-back") == "3x7 2x7 1x7"


def test_one_step_worse_on_the_first_step_adds_one_drop_a_day(look):
    seen = look(4, cells="1+", before={1: {"cells": "0.5+"}})
    assert seen.steps("step-back") == "5x7 4x7 3x7 2x7 1x7"


def test_one_step_worse_within_what_is_expected_leaves_the_surgeon_both_ways(look):
    seen = look(9, cells="1+", before={5: {"cells": "0.5+"}})
    assert seen.ids() == ["step-back", "go-on"]
    assert seen.proposal("step-back").alternative_to == ("go-on",)
    assert seen.proposal("go-on").alternative_to == ("step-back",)


@pytest.mark.parametrize(
    ("day", "cells", "before", "raised"),
    [
        (4, "2+", None, False),
        (5, "2+", None, True),
        (6, "2+", None, True),
        (5, "1+", "0.5+", False),
        (5, "1+", "0", True),
        (4, "1+", "0", False),
    ],
)
def test_from_day_five_2_plus_or_two_steps_up_raises_the_steroid(look, day, cells, before, raised):
    seen = look(day, cells=cells, before={1: {"cells": before}} if before else None)
    assert ("raise" in seen.ids()) is raised


def test_a_rise_gives_at_least_eight_a_day_and_then_the_later_steps_of_the_event_taper(look):
    seen = look(7, cells="2+")
    assert seen.steps("raise") == "8x7 6x7 5x7 4x7 3x7 2x7 1x7"
    assert seen.looks("raise") == [("inflammation", 2, 3, 4)]


def test_a_uveitic_eye_goes_on_with_the_later_steps_of_the_uveitic_taper(look, someone):
    data = someone(eye=UVEITIC)
    seen = look(24, data, cells="2+")
    assert seen.outcome.present_count == 4
    assert seen.steps("raise") == "8x7 6x7 5x7 4x14 3x14 2x14 1x14"


def test_a_rise_on_eight_a_day_goes_to_hourly_for_three_days(look, someone):
    data = someone(eye=UVEITIC)
    seen = look(6, data, cells="2+")
    assert seen.outcome.present_count == 8
    assert seen.steps("raise").startswith("16x3 8x4 6x7 5x7")


def test_a_rise_at_the_hourly_count_is_for_a_senior_the_same_day(look, someone):
    never = someone(eye={"uveitis": {"never_quiet": True}})
    seen = look(6, never, cells="2+")
    assert seen.outcome.present_count == 16
    assert seen.seniors() == ["cells-at-hourly"]
    assert seen.ids() == []


def test_hourly_is_no_more_than_the_hours_that_the_patient_is_awake(look, someone):
    waking = {"rise": "06:00", "bedtime": "18:00"}
    data = someone(eye=UVEITIC, waking=waking)
    # Half of twelve hours is 6 a day, so a first rise goes to 8 and only the next one to hourly.
    assert look(7, data, cells="2+").steps("raise").startswith("8x7 6x7")
    on_eight = look(7, data, cells="2+", edits=(eight_a_day(7),))
    assert on_eight.steps("raise").startswith("12x3 8x10")
    assert on_eight.after("raise").rounds[0].times
    never = someone(eye={"uveitis": {"never_quiet": True}}, waking=waking)
    assert look(6, never, cells="2+").seniors() == ["cells-at-hourly"]


def test_hourly_is_sixteen_however_long_the_patient_is_awake(look, someone):
    waking = {"rise": "05:00", "bedtime": "23:00"}
    seen = look(6, someone(eye={"uveitis": {"never_quiet": True}}, waking=waking), cells="2+")
    assert seen.outcome.present_count == 16
    assert seen.seniors() == ["cells-at-hourly"]


@pytest.mark.parametrize(("day", "senior"), [(1, False), (2, True), (30, True)])
def test_3_plus_from_day_two_is_for_a_senior_the_same_day(look, day, senior):
    seen = look(day, cells="3+")
    assert bool(seen.seniors()) is senior
    assert bool(seen.ids()) is not senior


def test_new_counts_run_from_the_day_after_the_look(look):
    seen = look(7, cells="2+")
    plan = seen.after("raise")
    course = plan.course("right:steroid")
    assert course.count_on(seen.outcome.date) == 4
    assert course.count_on(seen.outcome.date.replace(day=seen.outcome.date.day + 1)) == 8


@pytest.mark.parametrize(
    ("day", "eye", "operation", "late"),
    [
        (28, {}, {}, False),
        (29, {}, {}, True),
        (42, {}, {"bleeding": True}, False),
        (43, {}, {"bleeding": True}, True),
        (42, UVEITIC, {}, False),
        (43, UVEITIC, {}, True),
    ],
)
def test_cells_that_stay_past_their_time_ask_for_a_cause_and_a_senior(
    look, someone, day, eye, operation, late
):
    seen = look(day, someone(eye=eye, operation=operation), cells="0.5+", before={day - 7: {"cells": "0.5+"}})
    assert ("persistent" in seen.notes()) is late


def test_cells_after_the_last_drop_are_watched_and_never_called_as_expected(look):
    seen = look(35, cells="0.5+")
    assert seen.ids() == ["watch"]
    assert seen.looks("watch") == [("inflammation", 2, 3, 4)]


@pytest.mark.parametrize(("day", "back"), [(28, False), (29, True), (118, True)])
def test_1_plus_within_ninety_days_after_the_taper_is_a_rebound(look, day, back):
    # A rebound: 8 a day, then 6x7 and every later step 14 days.
    seen = look(day, cells="1+", before={21: {"cells": "0.5+"}})
    assert ("rebound" in seen.ids()) is back
    if back:
        assert seen.steps("rebound") == "8x7 6x7 5x14 4x14 3x14 2x14 1x14"
        assert seen.looks("rebound") == [("inflammation", 2, 3, 4)]


def test_cells_that_come_back_on_the_way_down_are_a_rebound(look):
    seen = look(18, cells="1+", before={7: {"cells": "0"}, 14: {"cells": "0.5+"}})
    assert seen.ids() == ["rebound"]
    assert seen.steps("rebound") == "8x7 6x7 5x14 4x14 3x14 2x14 1x14"


def test_quiet_twice_may_shorten_an_event_taper_but_never_under_its_shortest(look, someone):
    # E runs exactly 42 days, its shortest: nothing to shorten. A uveitic U of 77 may go to 42.
    event = look(21, someone(operation={"bleeding": True}), cells="0", before={7: {"cells": "0"}})
    assert event.ids() == ["go-on"]
    uveitic = look(28, someone(eye=UVEITIC), cells="0", before={21: {"cells": "0"}})
    assert uveitic.ids() == ["go-on", "shorten"]
    course = uveitic.after("shorten").course("right:steroid")
    assert sum(step.days for step in course.steps) >= 42
    assert course.last_day < uveitic.after("go-on").course("right:steroid").last_day


def test_quiet_once_shortens_nothing(look, someone):
    seen = look(28, someone(eye=UVEITIC), cells="0", before={21: {"cells": "0.5+"}})
    assert seen.ids() == ["go-on"]


def test_an_eye_quiet_for_under_ninety_days_is_not_lightened(look, someone):
    lately = someone(eye={"uveitis": {"kind": "anterior", "last_active": "2026-01-10"}})
    assert look(35, lately, cells="0", before={28: {"cells": "0"}}).ids() == ["go-on"]


def test_a_responder_without_cells_has_no_shortest_course(look, someone):
    data = someone(eye={"steroid_responder": True} | UVEITIC)
    seen = look(10, data, cells="0", before={7: {"cells": "0"}})
    shorter = seen.after("shorten").course("right:steroid")
    assert sum(step.days for step in shorter.steps) == 3 + 4 + 7 + 7 + 7 * 4


@pytest.mark.parametrize(("cells", "before", "ids"), [("0.5+", "0", 2), ("1+", "1+", 1)])
def test_eyes_that_are_not_better_are_never_offered_less(look, someone, cells, before, ids):
    seen = look(20, someone(eye=UVEITIC), cells=cells, before={14: {"cells": before}}, pressure=27)
    assert all(p.direction != "lower" for p in seen.outcome.proposals)


def test_cells_that_were_not_seen_give_no_proposal_about_them(look):
    seen = look(7, cells="not seen")
    assert seen.ids() == []
    assert "cells" in seen.missing()


def test_a_held_steroid_counts_as_no_drops(look, someone):
    herpes = someone(eye={"herpetic_keratitis": {"year": 2019}})
    assert look(7, herpes, cells="1+").outcome.present_count == 0


def test_a_look_is_compared_with_the_one_earlier_on_the_same_day(look, someone, on_day):
    morning = someone(reviews=[{"date": on_day(7), "time": "09:00", "cells": "0"}])
    assert look(7, morning, time="15:00", cells="1+").ids() == ["raise"]
    assert look(7, morning, time="08:00", cells="1+").ids() == ["go-on"]


def test_quiet_twice_on_one_day_shortens_nothing(look, someone, on_day):
    morning = {"date": on_day(60), "time": "09:00", "cells": "0"}
    once = someone(eye=UVEITIC, reviews=[morning])
    assert look(60, once, time="15:00", cells="0").ids() == ["go-on"]
    twice = someone(eye=UVEITIC, reviews=[morning, {"date": on_day(50), "cells": "0"}])
    assert look(60, twice, time="15:00", cells="0").ids() == ["go-on", "shorten"]
