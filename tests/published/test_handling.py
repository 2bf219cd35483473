"""Handling of drops and everyday life against where the figures come from.

P published text or abstract seen, S seen in a secondary copy, M from memory, C common practice.
"""

from __future__ import annotations

import re

import pytest

from followup.language.catalogues import translator


def test_german_1999_a_drop_measures_33_8_to_63_4_microlitres(sample):
    # German, Eye 1999;13:93 (P). Drops a millilitre: 1000 / 63.4 = 15.8 to 1000 / 33.8 = 29.6.
    for medicine in sample.formulary.values():
        if medicine.volume_ml:
            assert 15.8 <= medicine.drops_per_ml <= 29.6, medicine.id


def test_twenty_drops_a_millilitre_where_the_maker_says_nothing(sample):
    # Rule of thumb (S).
    assert sample.formulary["dexamethasone-0-1"].drops_per_ml == 20


def test_an_2014_wastage_is_an_open_assumption_and_off(sample):
    # An, J Cataract Refract Surg 2014;40:1857 (P): 31.5 percent of patients missed the eye, which says
    # nothing of how many drops; so no product assumes a wastage.
    assert {medicine.wastage for medicine in sample.formulary.values()} == {1}


def test_order_in_a_round_solution_suspension_gel_lubricant_ointment(sample):
    # Solution, suspension, gel, ointment (S); lubricant last of the drops (P).
    order = {m.form: m.order for m in sample.formulary.values() if m.route == "eye" and m.role != "lubricant"}
    assert order["solution"] < order["suspension"]
    drops = [m.order for m in sample.formulary.values() if m.route == "eye" and m.form != "ointment"]
    lubricants = [
        m.order for m in sample.formulary.values() if m.role == "lubricant" and m.form != "ointment"
    ]
    assert lubricants
    assert min(lubricants) == max(drops)
    ointments = [m.order for m in sample.formulary.values() if m.form == "ointment"]
    assert min(ointments) > max(drops)


def test_suspensions_are_shaken(sample):
    # Product labels (S).
    for medicine in sample.formulary.values():
        if medicine.form == "suspension" and medicine.route == "eye":
            assert medicine.shake, medicine.id


def test_the_eye_is_closed_for_two_minutes_and_three_in_pregnancy(sample):
    # Labels 1 to 3 minutes, American Academy of Ophthalmology 3 to 5 (P); pregnancy: common practice.
    assert sample.aftercare.drops.press_minutes == 2
    assert sample.aftercare.drops.press_minutes_pregnant == 3
    assert sample.aftercare.drops.ointment_wait_minutes == 10


def test_a_missed_dose_is_left_out_within_an_hour_of_the_next(sample):
    # Common advice in patient leaflets (S).
    assert sample.aftercare.drops.missed_within_hours == 1


@pytest.mark.parametrize(
    ("id_", "small", "large"),
    [
        ("rub", 28, 42),
        ("shield", 7, 28),
        ("sleep", 7, 14),
        ("water", 7, 14),
        ("swim", 28, 28),
        ("pray", 7, 28),
        ("field", 28, 28),
        ("lift", 14, 42),
        ("smoke", 14, 14),
        ("sex", 7, 14),
    ],
)
def test_days_of_everyday_life_for_a_small_and_a_large_cut(sample, id_, small, large):
    # Common practice, no source; bowing in prayer raised the pressure from 16 to 22 mmHg, at most 37 (P).
    (advice,) = [a for a in sample.aftercare.advice if a.id == id_]
    if id_ != "rub":
        assert (advice.small, advice.large) == (small, large)
    else:
        assert advice.small is None or (advice.small, advice.large) == (small, large)


# Institute for Safe Medication Practices, list of error-prone abbreviations; Joint Commission (P).
BANNED = r"\b(OD|OS|OU|AD|AS|AU|qhs|HS|BT|cc|IU|D/C|QD|QOD|per os)\b|\bo\.d\.|\bq\.d\.|\bq\.o\.d\.|µg"


def test_ismp_no_error_prone_abbreviation_in_any_word_of_the_sheet(sample):
    # Institute for Safe Medication Practices and Joint Commission (P).
    for key, forms in translator("en").messages.items():
        for text in (key[1], *forms):
            assert not re.search(BANNED, text), text
    for medicine in sample.formulary.values():
        assert not re.search(BANNED, medicine.label), medicine.label


def test_ismp_no_trailing_zero_and_no_naked_point_in_a_strength(sample):
    # Institute for Safe Medication Practices and Joint Commission (P): never 1.0, never .5.
    for medicine in sample.formulary.values():
        assert not re.search(r"\d\.\d*0(?!\d)", medicine.strength), medicine.strength
        assert not re.search(r"(?<!\d)\.\d", medicine.strength), medicine.strength


@pytest.mark.parametrize(
    ("hours", "count"), [(("06:00", "22:00"), 8), (("06:00", "18:00"), 6), (("06:00", "23:00"), 8)]
)
def test_two_hourly_means_while_awake_and_so_never_twelve_a_day(made, hours, count):
    # Convention of the protocol (C); the standard code Q2H, by the clock, would be 12.
    rise, bedtime = hours
    told = {
        "eye": {"uveitis": {"kind": "anterior", "last_active": "2023-01-01"}},
        "patient": {"waking": {"rise": rise, "bedtime": bedtime}},
    }
    steps = {int(step.split("x")[0]) for step in made(told).steps("steroid").split()}
    assert count in steps
    assert 12 not in steps or bedtime == "18:00", "twelve hours awake: hourly is twelve, two-hourly never"


def test_four_times_a_day_is_not_every_six_hours(made):
    # Convention (C): the rounds lie within the waking day, the night is left alone.
    first = made({}).plan.rounds[0]
    (steroid,) = [dose for dose in first.doses if dose.course == "right:steroid"]
    assert len(steroid.times) == 4
    assert all("06:00" <= clock <= "22:00" for clock in steroid.times)
