"""Label and handling figures of the sample data against where they were published.

P published text seen, S seen in a secondary copy, M from memory, C common practice.
"""

from __future__ import annotations

import pytest

from followup.clinical.plan.labels import above_label
from followup.clinical.protocol.load import load_protocol

FORMULARY = load_protocol().formulary


@pytest.mark.parametrize(
    ("medicine", "steps", "country", "day"),
    [
        # US label of difluprednate 0.05%: 4 a day for 14 days, then 2 for 7 (P).
        ("difluprednate-0-05", [(4, 14), (2, 7)], "US", None),
        ("difluprednate-0-05", [(4, 15)], "US", 15),
        # Label of loteprednol 0.5%: 4 a day for 14 days (S).
        ("loteprednol-0-5", [(4, 14)], "US", None),
        ("loteprednol-0-5", [(5, 1)], "US", 1),
        # Label of ketorolac 0.5%: 4 a day (S).
        ("ketorolac-0-5", [(4, 14)], "US", None),
        ("ketorolac-0-5", [(5, 14)], "US", 1),
        # Label of prednisolone acetate 1%: UK 2 drops hourly for 48 h, then up to 2 x 4; US 2 x 4 (S).
        ("prednisolone-acetate-1", [(16, 2), (8, 4)], "UK", None),
        ("prednisolone-acetate-1", [(16, 3), (8, 4)], "UK", 3),
        ("prednisolone-acetate-1", [(8, 7)], "US", None),
        ("prednisolone-acetate-1", [(16, 3)], "US", 1),
        # Label of dexamethasone 0.1%: 1-2 drops every 30-60 minutes if severe (S).
        ("dexamethasone-0-1", [(16, 7), (8, 7)], "UK", None),
        # PREMED, J Cataract Refract Surg 2018;44:429: dexamethasone 0.1% 4, 3, 2, 1 weekly (P).
        ("dexamethasone-0-1", [(4, 7), (3, 7), (2, 7), (1, 7)], "UK", None),
    ],
)
def test_a_course_passes_its_label_on_the_published_day(medicine, steps, country, day):
    found = above_label(FORMULARY[medicine], steps, country)
    assert (found.day if found else None) == day


@pytest.mark.parametrize(
    ("medicine", "count"),
    [
        # Counts a day of the labels (from memory).
        ("bromfenac-0-09", 2),
        ("nepafenac-0-1", 3),
        ("ketorolac-0-5", 4),
        ("nepafenac-0-3", 1),
        ("bromfenac-0-07", 1),
    ],
)
def test_an_nsaid_has_the_count_of_its_label(medicine, count):
    assert FORMULARY[medicine].label_count == count


def test_nepafenac_runs_sixty_days_in_european_diabetic_eyes_only():
    """European label of nepafenac 0.1%: up to 60 days in diabetic patients (S); 21 else (M)."""
    nepafenac = FORMULARY["nepafenac-0-1"]
    assert nepafenac.longest_label_days(diabetes=True, country="EU") == 60
    assert nepafenac.longest_label_days(diabetes=False, country="EU") == 21
    assert nepafenac.longest_label_days(diabetes=True, country="US") == 14


@pytest.mark.parametrize(
    ("medicine", "cap"),
    [
        # American Academy of Ophthalmology cap colours, voluntary, United States (S).
        ("dexamethasone-0-1", "pink"),
        ("moxifloxacin-0-5", "tan"),
        ("ketorolac-0-5", "grey"),
        ("atropine-1", "red"),
        ("pilocarpine-2", "dark green"),
        ("timolol-0-5", "yellow"),
        ("brimonidine-0-2", "purple"),
        ("dorzolamide-2", "orange"),
        ("latanoprost-0-005", "turquoise"),
    ],
)
def test_a_cap_has_the_colour_of_its_group(medicine, cap):
    assert FORMULARY[medicine].cap == cap


def test_bottles_of_one_eye_are_five_minutes_apart_and_never_less():
    """European Glaucoma Society guide: under 15% is lost at 5 minutes (P); some labels ask for 10."""
    waits = {m.id: m.wait_minutes for m in FORMULARY.values() if m.route == "eye"}
    assert min(waits.values()) == 5
    assert waits["prednisolone-acetate-1"] == 5


def test_an_ointment_goes_in_ten_minutes_after_drops():
    """Product labels, secondary copy (S)."""
    assert {m.wait_minutes for m in FORMULARY.values() if m.form == "ointment"} == {10}


@pytest.mark.parametrize("medicine", ["prednisolone-acetate-1", "bromfenac-0-09"])
def test_sulphite_is_named_where_the_label_names_it(medicine):
    """Product labels, secondary copy (S)."""
    assert "sulphite" in FORMULARY[medicine].excipients


@pytest.mark.parametrize(
    "regimen", [(70, "dexamethasone-0-1"), (28, "bromfenac-0-09"), (56, "loteprednol-0-5")]
)
def test_a_published_course_fits_into_one_bottle_of_five_ml(regimen):
    """PREMED 2018 (P); loteprednol label (S); 20 drops a ml by rule of thumb (S)."""
    drops, medicine = regimen
    assert FORMULARY[medicine].volume_ml == 5
    assert FORMULARY[medicine].drops_per_bottle == 100 >= drops


def test_no_container_is_used_for_more_than_28_days():
    """In-use limit of preserved drops, counting the opening day (common practice, no source)."""
    assert max(m.open_days for m in FORMULARY.values()) == 28
