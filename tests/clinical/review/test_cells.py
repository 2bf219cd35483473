"""Cells and the taper, row by row. The rows are common practice, no source, but where one is named."""

from __future__ import annotations

from datetime import date, timedelta

from followup.clinical.adjustments import CourseEdit

UVEITIC = {"uveitis": {"kind": "anterior", "last_active": "2025-06-01"}}


def eight_a_day(day: int) -> CourseEdit:
    """From that day on 8 a day for two weeks."""
    starts = date(2026, 3, 2) + timedelta(days=day)
    return CourseEdit(course="right:steroid", starts=starts, steps=((8, 14),), reason="worse", by="Dr Sen")


def test_a_hold_never_cuts_a_long_step_short(look, someone):
    # Half way through two weeks of 3 a day (days 36 to 49) seven days are left anyway; later they are not.
    data = someone(eye=UVEITIC)
    assert look(42, data, cells="0.5+", before={35: {"cells": "0.5+"}}).proposal("hold").adjustments == ()
    later = look(45, data, cells="0.5+", before={42: {"cells": "0.5+"}})
    assert later.steps("hold") == "3x7 2x14 1x14"


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


def test_new_counts_run_from_the_day_after_the_look(look):
    seen = look(7, cells="2+")
    plan = seen.after("raise")
    course = plan.course("right:steroid")
    assert course.count_on(seen.outcome.date) == 4
    assert course.count_on(seen.outcome.date.replace(day=seen.outcome.date.day + 1)) == 8


def test_cells_after_the_last_drop_are_watched_and_never_called_as_expected(look):
    seen = look(35, cells="0.5+")
    assert seen.ids() == ["watch"]
    assert seen.looks("watch") == [("inflammation", 2, 3, 4)]


def test_quiet_twice_may_shorten_an_event_taper_but_never_under_its_shortest(look, someone):
    # E runs exactly 42 days, its shortest: nothing to shorten. A uveitic U of 77 may go to 42.
    event = look(21, someone(operation={"bleeding": True}), cells="0", before={7: {"cells": "0"}})
    assert event.ids() == ["go-on"]
    uveitic = look(28, someone(eye=UVEITIC), cells="0", before={21: {"cells": "0"}})
    assert uveitic.ids() == ["go-on", "shorten"]
    course = uveitic.after("shorten").course("right:steroid")
    assert sum(step.days for step in course.steps) >= 42
    assert course.last_day < uveitic.after("go-on").course("right:steroid").last_day


def test_a_responder_without_cells_has_no_shortest_course(look, someone):
    data = someone(eye={"steroid_responder": True} | UVEITIC)
    seen = look(10, data, cells="0", before={7: {"cells": "0"}})
    shorter = seen.after("shorten").course("right:steroid")
    assert sum(step.days for step in shorter.steps) == 3 + 4 + 7 + 7 + 7 * 4


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
