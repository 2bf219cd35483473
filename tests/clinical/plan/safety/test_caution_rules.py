"""The rules of the safety net as data: complete, closed, refused by file and line."""

from __future__ import annotations

from typing import get_args

import pytest

from followup.clinical.protocol.files import CAUTIONS
from followup.clinical.protocol.reader import read, twice
from followup.clinical.record.base import MedicineRole
from followup.errors import FollowupError

RULES = """\
[[caution]]
id = "nsaid.dry-eye"
applies = [{ roles = ["nsaid"] }]
when_any = ["severe_dry_eye"]
level = "ask"
holds = true
text = "{medicine}: severe dry eye."
question = "Give {medicine}?"
because = "It can melt the cornea."
source = "product label, secondary copy"
mark = "S"
answer_choice = "nsaid"

[[duplicate]]
id = "duplicate.steroid"
both = { roles = ["steroid"] }
where = "same eye"
level = "warn"
text = "{medicine} and {other}"
because = "Too much."
source = "common practice, no source"
mark = "C"
"""


def load(tmp_path, text):
    path = tmp_path / "cautions.toml"
    path.write_text(text, encoding="utf-8")
    found = read(CAUTIONS, path)
    for problem in twice(found):
        raise problem
    return found.model


def test_a_whole_file_is_read(tmp_path):
    found = load(tmp_path, RULES)
    assert [rule.id for rule in found.caution] == ["nsaid.dry-eye"]
    assert [rule.id for rule in found.duplicate] == ["duplicate.steroid"]


def test_every_contraindication_of_the_formulary_is_watched(cautions, formulary):
    for medicine in formulary.values():
        for name in medicine.contraindications:
            watching = [
                rule
                for rule in cautions.cautions
                if name in rule.when_any and any(selector.fits(medicine) for selector in rule.applies)
            ]
            assert watching, (medicine.id, name)


def test_every_rule_of_the_sample_can_fire_for_a_medicine_of_the_formulary(cautions, formulary):
    for rule in cautions.cautions:
        fits = [m for m in formulary.values() if any(selector.fits(m) for selector in rule.applies)]
        assert fits, rule.id
    for pair in cautions.duplicates:
        assert [m for m in formulary.values() if pair.both.fits(m)], pair.id


def test_a_stop_for_a_new_medicine_is_never_silent_for_one_in_use(cautions):
    for rule in cautions.cautions:
        if rule.level == "stop":
            assert rule.level_in_use in (None, "ask"), rule.id


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        ('answer_choice = "nsaid"', 'colour = "red"', 12, 'unknown key "colour"'),
        ('source = "product label, secondary copy"\n', "", 1, 'the key "source" is missing'),
        ('because = "It can melt the cornea."\n', "", 1, 'the key "because" is missing'),
        ('roles = ["nsaid"]', 'roles = ["painkiller"]', 3, '"applies.0.roles.0"'),
        ('{ roles = ["nsaid"] }', "{}", 3, "names no medicine"),
        ('when_any = ["severe_dry_eye"]\n', "", 1, "exactly one of when_any, when_all and always"),
        ('question = "Give {medicine}?"\n', "", 1, "needs its question"),
        ('level = "ask"', 'level = "stop"', 1, "a choice can't answer a stop"),
        ('level = "ask"', 'level = "note"', 1, "only a caution that stops or asks can hold"),
        ("{medicine}: severe", "{drug}: severe", 1, "unknown placeholder {drug}"),
        ('id = "nsaid.dry-eye"', 'id = "Dry eye"', 2, '"id"'),
        ('where = "same eye"', 'where = "somewhere"', 17, '"where"'),
        ("{medicine} and {other}", "{medicine} and {days}", 14, "unknown placeholder {days}"),
        ('level = "warn"', 'level = "ask"', 14, "needs its question"),
        ("[[caution]]", "title = 1\n[[caution]]", 1, 'unknown key "title"'),
    ],
)
def test_a_fault_is_refused_with_its_line(tmp_path, old, new, line, said):
    assert old in RULES
    with pytest.raises(FollowupError) as caught:
        load(tmp_path, RULES.replace(old, new, 1))
    assert caught.value.where == f"cautions.toml line {line}"
    assert said in caught.value.what


def test_a_rule_that_stands_twice_is_refused_at_the_second(tmp_path):
    with pytest.raises(FollowupError, match=r"line 25: \"nsaid\.dry-eye\" stands twice"):
        load(tmp_path, RULES + "\n" + RULES.split("[[duplicate]]")[0])


@pytest.mark.parametrize("missing", ["caution", "duplicate"])
def test_a_file_without_rules_is_refused(tmp_path, missing):
    kept = [part for part in RULES.split("[[") if part and not part.startswith(missing)]
    with pytest.raises(FollowupError, match=f"no {missing} in the file"):
        load(tmp_path, "".join("[[" + part for part in kept))


def test_every_role_can_be_named_by_a_rule(tmp_path):
    roles = ", ".join(f'"{role}"' for role in get_args(MedicineRole))
    assert load(tmp_path, RULES.replace('roles = ["nsaid"]', f"roles = [{roles}]")).caution
