"""A clinic's own set replaces the sample whole, and its hash changes with what it says."""

from __future__ import annotations

import pytest

from followup.clinical.protocol.load import load_protocol
from followup.clinical.words.why_reasons import here_words


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
        'because = "Our own way."\nsource = "invented"\nmark = "C"\n'
        # What the sheet says until the bandage lens is out needs the look that takes it out.
        '[[rule]]\nid = "lens-out"\nwhen = ["bandage_lens"]\n'
        'need = { id = "lens-out", kind = "bandage-lens", earliest = "3", target = "7", latest = "14" }\n'
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


def test_a_label_without_a_figure_for_the_country_shows_the_strictest_and_is_signed_once(
    folder, someone, told
):
    change(folder / "protocol.toml", 'steroid = "dexamethasone-0-1"', 'steroid = "loteprednol-0-5"')
    above = told(someone(), protocol=load_protocol(folder))
    assert above.cautions()["above-label"] == "stop"
    assert "the strictest known; none is on file for UK" in above.caution("above-label").text
    with (folder / "protocol.toml").open("a", encoding="utf-8") as file:
        file.write(
            '\n[[above_label]]\nmedicine = "loteprednol-0-5"\ndrops_a_day = 4\ndays = 28\n'
            'owner = "Dr Osei"\nreason = "the routine taper runs four weeks"\n'
        )
    signed = told(someone(), protocol=load_protocol(folder))
    assert "above-label" not in signed.cautions()
    assert "Dr Osei" in signed.course("right:steroid").above_label


def test_within_the_strictest_label_of_other_countries_it_is_said_and_stops_nothing(folder, someone, told):
    change(folder / "protocol.toml", 'nsaid = "bromfenac-0-09"', 'nsaid = "ketorolac-0-5"')
    plan = told(someone(), protocol=load_protocol(folder))
    texts = [c.text for c in plan.plan.cautions if c.id == "label-no-figure"]
    assert any(
        text.startswith("Ketorolac trometamol 0.5%: no figure of a label is on file for UK") for text in texts
    )
    assert plan.plan.signable


def test_a_product_without_any_label_on_file_is_never_passed_over_in_silence(someone, told, protocol):
    plan = told(someone())
    quiet = {c.medicine for c in plan.plan.courses if not protocol.formulary[c.medicine].labels}
    texts = [c.text for c in plan.plan.cautions if c.id == "label-no-figure"]
    assert quiet
    for medicine in quiet:
        assert any(text.startswith(protocol.formulary[medicine].label) for text in texts)


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


def own_rule(folder, id_, body):
    with (folder / "rules-2-needs.toml").open("a", encoding="utf-8") as file:
        file.write(
            f'\n[[rule]]\nid = "{id_}"\n{body}\nbecause = "Our way."\nsource = "invented"\nmark = "C"\n'
        )


def test_a_taper_stands_in_only_where_the_one_it_replaces_fires(folder, someone, told):
    own_rule(
        folder,
        "lighter",
        'when = ["diabetes"]\ncourse = { role = "steroid", taper = "D", replaces = "R" }',
    )
    own = load_protocol(folder)
    diabetes = {"conditions": {"diabetes": "without retinopathy"}}
    light = told(someone(**diabetes), protocol=own)
    assert light.course("right:steroid").taper == "D"
    assert light.lost()["steroid-routine"] == "lighter"
    responder = {"eye": {"steroid_responder": True}}
    other = told(someone(**diabetes, **responder), protocol=own)
    assert other.course("right:steroid").taper == "RA"
    assert other.lost()["lighter"] == "no course to stand in for"


def test_of_two_tapers_that_stand_in_for_one_the_higher_rank_wins(folder, someone, told):
    for name, taper, rank in (("one", "D", 1), ("two", "E", 2)):
        wish = f'course = {{ role = "steroid", taper = "{taper}", replaces = "R" }}\nrank = {rank}'
        own_rule(folder, name, f"always = true\n{wish}")
    plan = told(someone(), protocol=load_protocol(folder))
    assert plan.course("right:steroid").taper == "E"
    assert plan.lost() == {"one": "two", "steroid-routine": "two"}


def test_a_rule_may_name_the_medicine_and_leave_the_course_to_others(folder, someone, told):
    own_rule(
        folder,
        "other-nsaid",
        'always = true\nrank = 1\ncourse = { role = "nsaid", medicine = "ketorolac-0-5" }',
    )
    own_rule(
        folder, "a-name-alone", 'always = true\ncourse = { role = "salt", medicine = "sodium-chloride-5" }'
    )
    plan = told(someone(), protocol=load_protocol(folder))
    assert (plan.course("right:nsaid").medicine, plan.steps("right:nsaid")) == ("ketorolac-0-5", "4x14")
    assert "right:salt" not in plan.courses()


def test_a_round_that_lasts_past_the_next_is_told(folder, someone, told):
    drops = ["carmellose-0-5", "dorzolamide-2", "brimonidine-0-2", "hypromellose-0-3", "atropine-1"]
    text = (folder / "formulary.toml").read_text(encoding="utf-8")
    (folder / "formulary.toml").write_text(
        text.replace("wait_minutes = 10", "wait_minutes = 40"), encoding="utf-8"
    )
    uveitis = {"uveitis": {"kind": "anterior", "last_active": "2025-01-01"}}
    in_use = [{"medicine": name, "eye": "right", "times": ["10:00"]} for name in drops]
    in_use += [{"medicine": "brinzolamide-1", "eye": "right", "times": ["10:00"]}]
    plan = told(someone(eye=uveitis, in_use=in_use), protocol=load_protocol(folder))
    assert any("the round at 10:00 lasts" in notice for notice in plan.plan.notices)


def test_the_clinic_sets_how_long_an_earlier_operation_on_the_eye_counts(folder, someone, told):
    twice = someone(
        operation={"date": "2026-01-05", "vitreous_lost": True}, more_operations=[{"date": "2026-03-02"}]
    )
    assert "vitreous was lost at an operation on this eye not long before" in _told_reasons(told(twice))
    change(folder / "protocol.toml", "[earlier_operation]\ndays = 90", "[earlier_operation]\ndays = 40")
    shorter = told(twice, protocol=load_protocol(folder))
    assert "not long before" not in _told_reasons(shorter)


def _told_reasons(one):
    return " ".join(here_words(reason) for need in one.plan.needs for reason in need.reasons)


def test_how_long_the_corner_of_the_eye_is_pressed_in_pregnancy_is_told_once_for_plan_and_sheet(
    folder, someone, told
):
    pregnant = someone(conditions={"pregnancy": "first trimester"}, birth_date="1990-06-11")
    assert "is pressed for 3 minutes" in _cautions(told(pregnant))
    change(folder / "aftercare.toml", "press_minutes_pregnant = 3", "press_minutes_pregnant = 5")
    assert "is pressed for 5 minutes" in _cautions(told(pregnant, protocol=load_protocol(folder)))


def _cautions(one):
    return " ".join(caution.text for caution in one.plan.cautions)


def test_the_clinic_sets_how_dense_a_steroid_course_is_asked_about_beside_ritonavir(folder, someone, told):
    taken = someone(conditions={"cyp3a4_inhibitor": "ritonavir or cobicistat"})
    assert "steroid.inhibitor" not in told(taken).cautions()
    change(folder / "cautions.toml", "count = 4, over_days = 14", "count = 3, over_days = 10")
    stricter = told(taken, protocol=load_protocol(folder))
    assert "steroid.inhibitor" in stricter.cautions()
    assert "3 times a day or more for over 10 days, with ritonavir" in _cautions(stricter)


def test_a_count_that_a_clinics_rule_gives_stands_over_the_usual_one(folder, someone, told):
    rules = folder / "rules-1-courses.toml"
    text = rules.read_text("utf-8")
    own = text.replace(
        'course = { role = "nsaid", days = 14 }', 'course = { role = "nsaid", days = 14, count = 1 }'
    )
    assert own != text
    rules.write_text(own, "utf-8")
    assert told(someone(), protocol=load_protocol(folder)).steps("right:nsaid") == "1x14"


def test_a_rule_and_a_caution_with_a_new_fact_are_data_alone(folder, someone, told):
    """Two files for each: the fact, and what asks for it; no word of the program knows either."""
    with (folder / "facts.toml").open("a", encoding="utf-8") as file:
        file.write(
            '\n[[fact]]\nname = "scarred"\nabout = "a scarred eye"\nfield = "eye.corneal_scar"\nis = [true]\n'
        )
    own_rule(
        folder,
        "scar",
        'when = ["scarred"]\n'
        'need = { id = "scar", kind = "wound", earliest = "20", target = "21", latest = "22" }',
    )
    with (folder / "cautions.toml").open("a", encoding="utf-8") as file:
        for name, fires in (("scar.told", "yes"), ("scar.asked", "not recorded")):
            file.write(
                f'\n[[caution]]\nid = "{name}"\napplies = [{{ roles = ["steroid"] }}]\n'
                f'when_all = ["scarred", "not pressure_drop_in_use"]\nfires = "{fires}"\nlevel = "warn"\n'
                'text = "{medicine}: a scar."\nbecause = "Ours."\nsource = "invented"\nmark = "C"\n'
            )
    own = load_protocol(folder)
    drop = {"medicine": "timolol-0-5", "eye": "right", "count_a_day": 2}
    for parts, looked, said in (
        ({"eye": {"corneal_scar": True}}, True, {"scar.told"}),
        ({"eye": {"corneal_scar": False}}, False, set()),
        ({}, False, {"scar.asked"}),
        ({"eye": {"corneal_scar": True}, "in_use": [drop]}, True, set()),
    ):
        plan = told(someone(**parts), protocol=own).plan
        assert {c.id for c in plan.cautions if c.id.startswith("scar.")} == said
        assert any(need.key == "right:scar" for need in plan.needs) is looked
