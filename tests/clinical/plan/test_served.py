"""What has been looked at, what was missed, and what nobody wrote about."""

from __future__ import annotations

import pytest

DIABETIC = {"conditions": {"diabetes": "without retinopathy"}}


def test_a_review_serves_the_looks_whose_window_holds_its_day(someone, told, on_day):
    plan = told(someone(reviews=[{"date": on_day(1)}, {"date": on_day(7)}]), as_of=8)
    assert plan.windows("served").keys() == {"right:first-look", "right:wound"}
    assert plan.need("right:wound").served_on.isoformat() == on_day(7)


def test_a_visit_that_took_place_serves_them_too(someone, told, on_day):
    plan = told(someone(trips=[{"date": on_day(1), "status": "fulfilled"}]), as_of=2)
    assert plan.windows("served").keys() == {"right:first-look"}
    assert plan.trip_days("fulfilled") == [1]


@pytest.mark.parametrize("status", ["booked", "noshow", "cancelled"])
def test_a_visit_that_did_not_take_place_serves_nothing(someone, told, on_day, status):
    plan = told(someone(trips=[{"date": on_day(1), "status": status}]), as_of=2)
    assert "served" not in {n.state for n in plan.plan.needs}


def test_a_visit_serves_only_what_it_names_where_it_names_something(someone, told, on_day):
    visit = {"date": on_day(30), "status": "fulfilled", "served": ["pressure"]}
    plan = told(someone(trips=[visit]), as_of=30)
    assert "right:pressure-on-steroid" in plan.windows("served")
    assert "right:refraction" not in plan.windows("served")


@pytest.mark.parametrize("seen", ["not seen", None])
def test_not_seen_and_not_written_down_never_count_as_looked_at(someone, told, on_day, seen):
    look = {"date": on_day(30), "pressure": 14, "macula": seen}
    plan = told(someone(**DIABETIC, reviews=[look]), as_of=31)
    assert plan.need("right:macula-1").state == "open"
    assert plan.need("right:pressure-on-steroid").state == "served"


def test_a_macula_that_was_seen_counts_whatever_it_showed(someone, told, on_day):
    look = {"date": on_day(30), "macula": "oedema"}
    plan = told(someone(**DIABETIC, reviews=[look]), as_of=31)
    assert plan.need("right:macula-1").state == "served"
    assert plan.windows()["right:macula-2"][0] == 60


def test_stitches_that_are_still_in_are_not_out(someone, told, on_day):
    stitched = {"operation": {"stitches": 1}}
    still_in = told(someone(**stitched, reviews=[{"date": on_day(28), "stitches_out": False}]), as_of=29)
    assert still_in.need("right:stitches").state == "open"
    out = told(someone(**stitched, reviews=[{"date": on_day(28), "stitches_out": True}]), as_of=29)
    assert out.need("right:stitches").state == "served"
    assert out.windows()["right:refraction"] == (42, 49, 70)


def test_glasses_move_with_a_stitch_taken_out_late(someone, told, on_day):
    late = [{"date": on_day(50), "stitches_out": True}]
    plan = told(someone(operation={"stitches": 1}, reviews=late), as_of=60)
    assert plan.windows()["right:refraction"] == (64, 71, 92)
    assert plan.need("right:refraction").state == "open"
    assert plan.trip_days("proposed")[-1] >= 64


def test_a_pressure_that_was_not_taken_is_no_check(someone, told, on_day):
    look = {"date": on_day(14), "pressure": "not done", "cells": "0"}
    plan = told(someone(eye={"glaucoma": True}, reviews=[look]), as_of=14)
    assert plan.need("right:pressure-early").state == "open"


def test_a_closed_window_without_a_word_is_asked_about_and_blocks(someone, told, on_day):
    plan = told(someone(reviews=[{"date": on_day(1)}]), as_of=15)
    assert plan.asks() == {"done-right-wound"}
    assert plan.question("done-right-wound").fields == ("reviews", "trips")
    assert not plan.plan.signable
    assert plan.plan.impossible == ()


def test_a_look_missed_by_a_no_show_opens_again_at_once(someone, told, on_day):
    missed = {"date": on_day(7), "status": "noshow"}
    plan = told(someone(reviews=[{"date": on_day(1)}], trips=[missed]), as_of=15)
    assert plan.asks() == set()
    assert plan.windows()["right:wound"] == (15, 15, 17)
    assert plan.need("right:wound").urgent
    assert "right:wound" in plan.trip(15).serves
    assert plan.trip_days("noshow") == [7]


def test_a_late_look_serves_after_all(someone, told, on_day):
    plan = told(someone(reviews=[{"date": on_day(1)}, {"date": on_day(12)}]), as_of=15)
    assert plan.need("right:wound").served_on.isoformat() == on_day(12)


def test_who_was_seen_today_is_not_asked_to_come_today_again(someone, told, on_day):
    plan = told(someone(reviews=[{"date": on_day(7)}, {"date": on_day(1)}]), as_of=7)
    assert min(plan.trip_days("proposed")) > 7


def test_a_look_at_the_other_eye_is_no_look_at_this_one(someone, told, on_day):
    both = someone(more_operations=[{"eye": "left", "eye_drawn": "left"}], reviews=[{"date": on_day(1)}])
    plan = told(both, as_of=1)
    assert plan.need("right:first-look").state == "served"
    assert plan.need("left:first-look").state == "open"


def test_a_look_that_hangs_on_one_nobody_wrote_about_keeps_its_own_window(someone, told, on_day):
    looks = [{"date": on_day(d), "pressure": 14, "refraction": "plano"} for d in (1, 7, 30)]
    plan = told(someone(**DIABETIC, reviews=looks), as_of=50)
    assert plan.asks() == {"done-right-macula-1"}
    assert plan.windows()["right:macula-2"] == (60, 84, 90)


def test_a_gap_that_is_broken_already_is_told_and_a_check_is_due_at_once(someone, told):
    plan = told(someone(eye={"glaucoma": True}), as_of=20)
    assert any("a check is due at once" in notice for notice in plan.plan.notices)
    assert plan.trip_days("proposed")[0] == 20


def test_a_look_that_a_visit_on_its_last_day_could_not_make_is_caught_up_at_once(someone, told, on_day):
    last_day = [{"date": on_day(42), "stitches_out": False}]
    plan = told(someone(operation={"stitches": 1}, reviews=last_day), as_of=42)
    assert plan.windows()["right:stitches"] == (43, 43, 45)
    assert plan.need("right:stitches").urgent
    assert "right:stitches" in plan.trip(43).serves


def test_a_macula_that_could_not_be_seen_in_its_window_is_looked_at_again_and_not_asked_about(
    someone, told, on_day
):
    looks = [
        {"date": on_day(d), "pressure": 15, "refraction": "plano", "macula": "not seen"} for d in (1, 7, 35)
    ]
    plan = told(someone(**DIABETIC, reviews=looks), as_of=45)
    assert plan.asks() == set()
    assert plan.windows()["right:macula-1"] == (45, 45, 47)


def test_a_visit_on_the_last_day_that_says_nothing_of_the_look_is_asked_about(someone, told, on_day):
    silent = [{"date": on_day(d), "pressure": 15, "refraction": "plano"} for d in (1, 7, 42)]
    plan = told(someone(**DIABETIC, reviews=silent), as_of=42)
    assert plan.asks() == {"done-right-macula-1"}
