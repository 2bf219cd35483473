"""A clinic's own set replaces the sample whole, and its hash changes with what it says."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import followup.clinical
from followup.clinical.protocol import load_protocol

SAMPLE = Path(followup.clinical.__file__).parent / "data"


@pytest.fixture
def folder(tmp_path):
    return Path(shutil.copytree(SAMPLE, tmp_path / "own"))


def change(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_its_name_taper_and_medicine_stand_in_every_plan(folder, someone, told):
    change(folder / "protocol.toml", 'name = "Sample protocol"', 'name = "Lakeside"')
    change(folder / "protocol.toml", 'version = "1"', 'version = "2027-1"')
    change(folder / "protocol.toml", "[[4, 7], [3, 7], [2, 7], [1, 7]]", "[[4, 14], [2, 14]]")
    change(folder / "protocol.toml", 'nsaid = "bromfenac-0-09"', 'nsaid = "ketorolac-0-5"')
    plan = told(someone(), protocol=load_protocol(folder))
    assert plan.plan.protocol == "Lakeside 2027-1"
    assert plan.steps("right:steroid") == "4x14 2x14"
    assert plan.steps("right:nsaid") == "4x14"
    assert plan.plan.protocol_hash != told(someone()).plan.protocol_hash


def test_nothing_of_the_sample_is_left_where_it_says_less(folder, someone, told):
    for path in folder.glob("rules-*.toml"):
        path.unlink()
    (folder / "rules-own.toml").write_text(
        '[[rule]]\nid = "only"\nalways = true\ncourse = { role = "steroid", taper = "R" }\n'
        'need = { id = "look", kind = "wound", earliest = "2", target = "3", latest = "4" }\n'
        'because = "Our own way."\nsource = "invented"\nmark = "C"\n',
        encoding="utf-8",
    )
    plan = told(someone(), protocol=load_protocol(folder))
    assert plan.courses() == {"right:steroid": "active"}
    assert plan.windows() == {"right:look": (2, 3, 4)}
    assert plan.asks() == set()


def test_the_clinics_price_of_a_new_clock_time_reaches_the_rounds(folder, someone, told):
    change(folder / "protocol.toml", "price = 100", "price = 1000000")
    dear = told(someone(), protocol=load_protocol(folder)).rounds()
    first = set(dear[0][2].split())
    assert all(set(times.split()) <= first for _, _, times in dear)


def test_a_tighter_limit_of_a_tier_brings_more_visits(folder, someone, told):
    change(folder / "protocol.toml", "limit = 14 }]", "limit = 6 }]")
    glaucoma = someone(eye={"glaucoma": True})
    tight = told(glaucoma, protocol=load_protocol(folder))
    assert len(tight.trip_days()) > len(told(glaucoma).trip_days())


def test_a_course_above_the_label_is_owned_by_name_or_stops_the_plan(folder, someone, told):
    change(folder / "protocol.toml", 'nsaid = "bromfenac-0-09"', 'nsaid = "ketorolac-0-5"')
    steroid = "dexamethasone-0-1"
    change(folder / "protocol.toml", f'steroid = "{steroid}"', 'steroid = "loteprednol-0-5"')
    change(folder / "protocol.toml", 'country = "UK"', 'country = "US"')
    above = told(someone(), protocol=load_protocol(folder))
    assert above.cautions().get("above-label") == "stop"
    assert not above.plan.signable
    with (folder / "protocol.toml").open("a", encoding="utf-8") as file:
        file.write(
            '\n[[above_label]]\nmedicine = "loteprednol-0-5"\ndrops_a_day = 4\ndays = 28\n'
            'owner = "Dr Osei"\nreason = "the routine taper runs four weeks"\n'
        )
    owned = told(someone(), protocol=load_protocol(folder))
    assert "above-label" not in owned.cautions()
    assert "Dr Osei" in owned.course("right:steroid").above_label


def test_the_hash_changes_with_what_is_said_and_not_with_how_it_is_laid_out(folder, protocol):
    rules = folder / "rules-1-courses.toml"
    assert load_protocol(folder).hash == protocol.hash
    rules.write_text("# read by nobody\n\n" + rules.read_text(encoding="utf-8"), encoding="utf-8")
    change(
        rules,
        'unless = ["child", "depot_shortens", "responder_quiet"]',
        'unless = [ "child",\n  "depot_shortens", "responder_quiet" ]',
    )
    assert load_protocol(folder).hash == protocol.hash


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("protocol.toml", "price = 100", "price = 101"),
        ("facts.toml", "over = 45", "over = 46"),
        ("rules-1-courses.toml", "Every operated eye gets", "Each operated eye gets"),
        ("rules-2-needs.toml", 'earliest = "F+9"', 'earliest = "F+8"'),
        ("formulary.toml", "volume_ml = 5", "volume_ml = 10"),
        ("cautions.toml", 'because = "', 'because = "Otherwise: '),
    ],
)
def test_any_change_of_content_unsigns_the_set(folder, protocol, file, old, new):
    change(folder / file, old, new)
    assert load_protocol(folder).hash != protocol.hash
