"""The sample formulary is whole, and a formulary with a fault is refused by file and line."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from medicines import USUAL

from followup.clinical.protocol.files import FORMULARY
from followup.clinical.protocol.formulary import MARK_LETTERS, Medicine
from followup.clinical.protocol.reader import read, twice
from followup.clinical.record.base import MedicineRole
from followup.errors import FollowupError

DROPS = """\
# one medicine
[[medicine]]
id = "timolol-0-5"
name = "Timolol"
strength = "0.5%"
form = "solution"
role = "pressure"
kinds = ["beta-blocker"]
substances = ["timolol"]
volume_ml = 5
source = "from memory"
mark = "M"
"""


TABLE = "\n".join(
    [
        "",
        "[usual]",
        *(f"{key} = {value}" for key, value in USUAL.items()),
        'source = "invented"',
        'mark = "C"',
    ]
)


def load(tmp_path: Path, text: str) -> dict[str, Medicine]:
    path = tmp_path / "formulary.toml"
    path.write_text(text + TABLE, encoding="utf-8")
    found = read(FORMULARY, path)
    for problem in twice(found):
        raise problem
    return {medicine.id: medicine for medicine in found.model.medicine}


def test_the_sample_lists_at_least_thirty_medicines(formulary):
    assert len(formulary) >= 30


def test_every_role_of_a_course_has_a_medicine(formulary):
    assert {m.role for m in formulary.values()} == set(get_args(MedicineRole)) - {"other"}


@pytest.mark.parametrize(
    "kind",
    [
        "beta-blocker",
        "carbonic anhydrase inhibitor",
        "alpha agonist",
        "prostaglandin",
        "miotic",
        "rho kinase inhibitor",
    ],
)
def test_every_class_of_pressure_drop_is_listed(formulary, kind):
    assert any(kind in m.kinds and m.role == "pressure" and m.route == "eye" for m in formulary.values())


def test_steroids_of_every_strength_are_listed(formulary):
    found = {m.potency for m in formulary.values() if m.role == "steroid" and m.route == "eye"}
    assert found == {"weak", "moderate", "strong", "strongest"}


def test_an_id_names_its_substances_so_that_an_allergy_is_recognised(formulary):
    for medicine in formulary.values():
        if medicine.id == "paraffin-ointment" or medicine.route == "injection":
            continue
        assert f"-{medicine.substances[0]}-" in f"-{medicine.id}-", medicine.id


def test_a_mixture_carries_every_class_it_is_made_of(formulary):
    single = {
        m.substances[0]: m for m in formulary.values() if len(m.substances) == 1 and m.role == "pressure"
    }
    mixtures = [m for m in formulary.values() if len(m.substances) == 2 and m.role == "pressure"]
    assert len(mixtures) >= 4
    for mixture in mixtures:
        for substance in mixture.substances:
            assert set(single[substance].kinds) <= set(mixture.kinds), mixture.id
            assert set(single[substance].contraindications) <= set(mixture.contraindications), mixture.id


def test_every_beta_blocker_lists_lungs_and_heart(formulary):
    bad = {"asthma", "severe_airway_disease", "slow_heart", "heart_block", "heart_failure"}
    found = [m for m in formulary.values() if "beta-blocker" in m.kinds]
    assert len(found) >= 5
    assert all(bad <= set(m.contraindications) for m in found)


def test_a_mark_letter_stands_for_one_role_only():
    assert len(set(MARK_LETTERS.values())) == len(MARK_LETTERS) == len(get_args(MedicineRole))
    assert all(len(letter) == 1 and letter.isupper() for letter in MARK_LETTERS.values())


def test_a_bottle_shows_the_letter_of_its_role_and_its_name_with_strength(formulary):
    shown = {
        m.role: (m.mark_letter, m.label) for m in map(formulary.get, ("dexamethasone-0-1", "timolol-0-5"))
    }
    assert shown == {"steroid": ("S", "Dexamethasone 0.1%"), "pressure": ("P", "Timolol 0.5%")}


def test_suspensions_are_shaken_and_solutions_are_not(formulary):
    for medicine in formulary.values():
        if medicine.route == "eye":
            assert medicine.shake == (medicine.form == "suspension"), medicine.id


def test_within_a_round_thin_goes_before_thick_and_lubricant_drops_after_gels(formulary):
    ids = [
        "paraffin-ointment",
        "carmellose-0-5",
        "ganciclovir-0-15-gel",
        "difluprednate-0-05",
        "prednisolone-acetate-1",
        "levofloxacin-0-5",
    ]
    assert sorted(ids, key=lambda name: formulary[name].order) == ids[::-1]


def test_a_depot_is_crystals_or_slow_release_but_not_a_solution(formulary):
    depots = {m.id for m in formulary.values() if m.is_depot}
    assert {"triamcinolone-injection", "dexamethasone-depot"} <= depots
    assert not {"dexamethasone-injection", "prednisolone-acetate-1", "cefuroxime-chamber"} & depots


def test_a_medicine_without_a_written_drop_size_has_twenty_drops_a_ml(tmp_path):
    assert load(tmp_path, DROPS)["timolol-0-5"].drops_per_bottle == 100


@given(volume=st.sampled_from([2.5, 3, 5, 10]), size=st.integers(15, 30), waste=st.sampled_from([1, 1.25, 2]))
def test_larger_drops_and_waste_mean_fewer_drops_in_a_bottle(volume, size, waste):
    def bottle(drops_per_ml: float, wastage: float) -> int:
        fields = {"volume_ml": volume, "drops_per_ml": drops_per_ml, "wastage": wastage}
        return Medicine.model_validate(
            {
                "id": "x-1",
                "name": "X",
                "strength": "1%",
                "form": "solution",
                "role": "other",
                "kinds": ["lubricant"],
                "substances": ["x-1"],
                "source": "invented",
                "mark": "M",
                **(USUAL | fields),
            }
        ).drops_per_bottle

    assert bottle(size, waste) <= bottle(size + 1, waste)
    assert bottle(size, 1) == int(volume * size)
    assert bottle(size, waste) == int(volume * size / waste + 1e-9)


def test_the_strictest_label_counts_where_no_country_is_named(formulary):
    nepafenac = formulary["nepafenac-0-1"]
    assert nepafenac.longest_label_days(diabetes=False) == 14
    assert nepafenac.longest_label_days(diabetes=False, country="EU") == 21
    assert nepafenac.longest_label_days(diabetes=True, country="US") == 14
    assert formulary["timolol-0-5"].longest_label_days(diabetes=False) is None


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ('mark = "M"', 'mark = "M"\ncolour = "red"', 13, 'unknown key "colour"'),
        ('source = "from memory"\n', "", 2, 'the key "source" is missing'),
        ('mark = "M"', 'mark = "X"', 12, '"mark"'),
        ('role = "pressure"', 'role = "pressur"', 7, '"role"'),
        ('kinds = ["beta-blocker"]', 'kinds = [\n  "beta"]', 9, '"kinds.0"'),
        ("volume_ml = 5", "volume_ml = -5", 10, '"volume_ml"'),
        ("volume_ml = 5", "weight_g = 5", 2, "volume_ml belongs to eye drops"),
        ("volume_ml = 5", "volume_ml = 5\nweight_g = 5", 2, "weight_g belongs to gels"),
        ("volume_ml = 5", "volume_ml = 5\nopen_days = 29", 11, '"open_days"'),
        ('role = "pressure"', 'role = "steroid"', 2, "potency"),
        ('role = "pressure"', 'role = "nsaid"', 2, "label_count"),
        ('form = "solution"', 'form = "suspension"', 2, "shake = true"),
        ('form = "solution"', 'form = "tablet"', 2, "go by mouth"),
        ('form = "solution"', 'form = "slow-release"', 2, "route = injection"),
        ('id = "timolol-0-5"', 'id = "Timolol 0.5"', 3, '"id"'),
        ('mark = "M"', 'mark = "M"\n[[medicine.labels]]\ncountry = "UK"\ndrops_a_day = 2', 13, "source"),
        ("# one medicine", 'title = "mine"', 1, 'unknown key "title"'),
    ],
)
def test_a_fault_is_refused_with_its_line(tmp_path, old, new, line, said):
    assert old in DROPS
    with pytest.raises(FollowupError) as caught:
        load(tmp_path, DROPS.replace(old, new))
    assert caught.value.where == f"formulary.toml line {line}"
    assert said in caught.value.what
    assert "\n" not in caught.value.line


def test_a_medicine_that_stands_twice_is_refused_at_the_second(tmp_path):
    with pytest.raises(FollowupError, match=r"line 14: \"timolol-0-5\" stands twice"):
        load(tmp_path, DROPS + DROPS.replace("# one medicine\n", ""))


@pytest.mark.parametrize("text", ["", "medicine = 3", "medicine = []"])
def test_a_formulary_without_medicines_is_refused(tmp_path, text):
    with pytest.raises(FollowupError, match="no medicine"):
        load(tmp_path, text)


def test_a_medicine_that_is_no_table_is_refused(tmp_path):
    with pytest.raises(FollowupError, match=r"formulary\.toml line 1"):
        load(tmp_path, "medicine = [3]")
