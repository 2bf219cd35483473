"""A protocol is read whole or refused, in one line, by file and line."""

from __future__ import annotations

import re

import pytest

from followup.clinical.protocol.load import load_protocol
from followup.errors import FollowupError


def change(folder, file, old, new):
    """Put ``new`` where ``old`` first stands; the line on which that is."""
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} does not stand in {file}"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


def add(folder, file, text):
    """Put ``text`` at the end; the line of its first table."""
    path = folder / file
    before = path.read_text(encoding="utf-8")
    path.write_text(f"{before}\n{text}", encoding="utf-8")
    return before.count("\n") + 2


def refusal(folder):
    with pytest.raises(FollowupError) as caught:
        load_protocol(folder)
    assert "\n" not in caught.value.line
    assert caught.value.fix
    return caught.value


def line_of(error):
    found = re.search(r"(\S+\.toml) line (\d+)$", error.where)
    assert found, error.where
    return found[1], int(found[2])


def rule(id_, body, because="It is a test."):
    return f'[[rule]]\nid = "{id_}"\n{body}\nbecause = "{because}"\nsource = "invented"\nmark = "C"\n'


def test_the_sample_is_complete_and_names_itself(protocol):
    assert protocol.label == "Sample protocol 1"
    assert re.fullmatch("[0-9a-f]{64}", protocol.hash)
    assert {"R", "E", "U", "UW", "UA"} <= set(protocol.tapers)
    assert "approved" not in set(vars(protocol))


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("protocol.toml", "price = 100", "price = 100\ncolour = 1", 'unknown key "rounds.colour"'),
        ("protocol.toml", "price = 100", "price = -1", "greater than or equal to 0"),
        ("protocol.toml", "[[4, 7], [3, 7], [2, 7], [1, 7]]", "[[4, 7], [3, 0]]", "steps.1.days"),
        ("protocol.toml", "[[4, 7], [3, 7], [2, 7], [1, 7]]", "[[4, 7], [5, 7]]", "rises along the taper"),
        ("protocol.toml", "[[4, 7], [3, 7], [2, 7], [1, 7]]", "[[40, 7]]", "1 to 16 a day"),
        ("protocol.toml", 'nsaid = "bromfenac-0-09"', 'nsaid = "bromfenac-9"', 'no medicine "bromfenac-9"'),
        ("protocol.toml", 'antiviral = "aciclovir-400-tablet"\n', "", 'no usual medicine for "antiviral"'),
        ("protocol.toml", "[tier.A]", "[tier.Z]", "tier"),
        ("protocol.toml", 'finding = "macula"', 'finding = "maculla"', 'no finding "maculla"'),
        ("protocol.toml", 'merge = "earliest"', 'merge = "sometimes"', "merge"),
        ("facts.toml", 'field = "eye.glaucoma"', 'field = "eye.glaukoma"', 'no field "eye.glaukoma"'),
        ("facts.toml", "over = 45\n", "over = 45\nstrange = 1\n", 'unknown key "strange"'),
        ("facts.toml", 'name = "damaged_nerve"', 'name = "glaucoma"', '"glaucoma" stands twice'),
        ("facts.toml", 'field = "eye.glaucoma"\n', "", "exactly one of field, any_of and all_of"),
        (
            "facts.toml",
            'any_of = ["glaucoma", "damaged_nerve"]',
            'any_of = ["glaucoma", "look_next_day"]',
            "does not stand before it",
        ),
        ("rules-1-courses.toml", 'when = ["event"]', 'when = ["evnt"]', 'names no fact "evnt"'),
        ("rules-1-courses.toml", 'when = ["event"]\nunless = ["child"]', "", "the rule names no fact"),
        ("rules-1-courses.toml", 'taper = "E" }', 'taper = "EE" }', 'names no taper "EE"'),
        ("rules-1-courses.toml", 'medicine = "nepafenac-0-1"', 'medicine = "nepafenac"', "nepafenac"),
        ("rules-1-courses.toml", 'medicine = "nepafenac-0-1"', 'medicine = "timolol-0-5"', "which it is not"),
        ("rules-1-courses.toml", 'id = "steroid-event"', 'id = "steroid-routine"', "stands twice"),
        ("rules-1-courses.toml", "steps = [[4, 14]]", "steps = [[4, 14]], days = 14", "give one of"),
        ("rules-1-courses.toml", "steps = [[4, 14]]", "steps = [[2, 7], [4, 7]]", "rises along the steps"),
        ("rules-1-courses.toml", "steps = [[4, 14]]", "steps = [[4, 14]], count = 2", "count belongs to"),
        ("rules-1-courses.toml", "steps = [[4, 14]]", "days = 14", "has no usual count a day"),
        ("rules-1-courses.toml", "steps = [[4, 14]]", "steps = [[4, 14]], from_day = 3", "from_day belongs"),
        (
            "rules-1-courses.toml",
            "steps = [[4, 14]]",
            'steps = [[4, 14]], replaces = "R"',
            "replaces belongs",
        ),
        (
            "rules-1-courses.toml",
            'role = "antibiotic", steps = [[4, 14]]',
            'role = "lubricant", steps = [[4, 14]]',
            'none is usual for "lubricant"',
        ),
        (
            "rules-1-courses.toml",
            'role = "antibiotic", steps = [[4, 14]]',
            'role = "steroid tablet", steps = [[4, 14]]',
            "ordered by a person",
        ),
        (
            "rules-1-courses.toml",
            'role = "antibiotic", steps = [[4, 14]]',
            'role = "antiviral", steps = [[4, 14]]',
            "runs until_after_steroid",
        ),
        ("rules-1-courses.toml", 'released_by = "blood"', 'released_by = "blod"', 'no finding "blod"'),
        (
            "rules-1-courses.toml",
            'fields = ["patient.language"]',
            'fields = ["patient.tongue"]',
            "patient.tongue",
        ),
        ("protocol.toml", 'id = "E"', 'id = "R"', '"R" stands twice'),
        ("rules-2-needs.toml", 'kind = "wound"', 'kind = "wund"', 'no kind of look "wund"'),
        ("rules-2-needs.toml", 'latest = "9" }', 'latest = "L-2" }', '"L-2" is not a day'),
        ("rules-2-needs.toml", 'unless_need = "taper-end"', 'unless_need = "end"', 'names no need "end"'),
        ("formulary.toml", 'form = "suspension"', 'form = "syrup"', "form"),
    ],
)
def test_what_is_wrong_is_said_with_file_and_line(folder, file, old, new, says):
    line = change(folder, file, old, new)
    error = refusal(folder)
    assert says in error.line
    told_file, told_line = line_of(error)
    # A key is named by its own line, a whole table by the line on which it opens, a few lines above.
    assert told_file == file
    assert line - 12 <= told_line <= line + 12


def test_a_broken_line_of_toml_is_named_exactly(folder):
    line = change(folder, "rules-2-needs.toml", 'tier = "A"', 'tier = "A')
    error = refusal(folder)
    assert error.code == "toml.syntax"
    assert line_of(error) == ("rules-2-needs.toml", line)


@pytest.mark.parametrize("file", ["protocol.toml", "facts.toml", "formulary.toml", "cautions.toml"])
def test_a_missing_file_is_named(folder, file):
    (folder / file).unlink()
    assert file in refusal(folder).where


def test_a_folder_without_rules_is_refused(folder):
    for path in folder.glob("rules-*.toml"):
        path.unlink()
    assert "rules" in refusal(folder).line


def test_an_empty_folder_and_no_folder_are_refused(tmp_path):
    (tmp_path / "empty").mkdir()
    refusal(tmp_path / "empty")
    assert refusal(tmp_path / "nowhere").code == "protocol.folder"


def test_a_table_that_rules_do_not_know_is_refused(folder):
    line = add(folder, "rules-1-courses.toml", '[[rool]]\nid = "x"\n')
    assert line_of(refusal(folder)) == ("rules-1-courses.toml", line)


def test_a_rule_that_wants_nothing_is_refused(folder):
    add(folder, "rules-2-needs.toml", rule("idle", 'when = ["event"]'))
    assert "wants nothing" in refusal(folder).line


def test_two_rules_of_equal_rank_that_name_two_medicines_at_once_are_refused(folder):
    add(folder, "rules-2-needs.toml", rule("first", 'when = ["event"]\n' + RIVAL.format("tropicamide-1")))
    line = add(
        folder, "rules-2-needs.toml", rule("second", 'when = ["glaucoma"]\n' + RIVAL.format("homatropine-2"))
    )
    error = refusal(folder)
    assert error.code == "protocol.rivals"
    assert '"first" and "second" both set the medicine for cycloplegic at rank 9' in error.line
    assert line_of(error) == ("rules-2-needs.toml", line)


def test_two_rules_of_equal_rank_that_set_the_first_drop_day_are_refused(folder):
    line = add(folder, "rules-2-needs.toml", rule("early", 'when = ["glaucoma"]\nfirst_day = 0'))
    error = refusal(folder)
    assert error.code == "protocol.rivals"
    assert line_of(error) == ("rules-2-needs.toml", line)


def test_two_tapers_that_stand_in_for_one_at_equal_rank_are_refused(folder):
    wish = 'course = { role = "steroid", taper = "E", replaces = "R" }'
    for name, fact in (("one", "glaucoma"), ("two", "event")):
        add(folder, "rules-2-needs.toml", rule(name, f'when = ["{fact}"]\n{wish}'))
    assert "what stands in for taper R" in refusal(folder).line


RIVAL = 'course = {{ role = "cycloplegic", steps = [[2, 7]], medicine = "{0}" }}\nrank = 9\n'


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ('when = ["glaucoma"]', 'unless = ["glaucoma"]'),
        ('when = ["axial_26"]', 'when = ["not axial_26"]'),
        ('when = ["responder_quiet"]', 'when = ["glaucoma"]\nunless = ["responder"]'),
        ('when = ["diabetic_retinopathy"]', 'when = ["glaucoma"]\nunknown = ["diabetic_retinopathy"]'),
        ('when = ["lens_in_sulcus"]', 'when = ["no_lens"]'),
        ('any_of = ["glaucoma", "responder"]', 'always = true\nunless = ["glaucoma", "responder"]'),
    ],
)
def test_rules_that_exclude_each_other_may_set_the_same_thing(folder, one, two):
    add(folder, "rules-2-needs.toml", rule("first", f"{one}\n" + RIVAL.format("tropicamide-1")))
    add(folder, "rules-2-needs.toml", rule("second", f"{two}\n" + RIVAL.format("homatropine-2")))
    assert {"first", "second"} <= {r.id for r in load_protocol(folder).rules}


def test_a_higher_rank_settles_what_two_rules_set(folder, someone, told):
    for name, medicine, rank in (("first", "tropicamide-1", 3), ("second", "homatropine-2", 4)):
        wish = (
            f'course = {{ role = "cycloplegic", steps = [[2, 7]], medicine = "{medicine}" }}\nrank = {rank}'
        )
        add(folder, "rules-2-needs.toml", rule(name, f"always = true\n{wish}"))
    plan = told(someone(), protocol=load_protocol(folder))
    assert plan.course("right:cycloplegic").medicine == "homatropine-2"


def test_a_need_with_two_windows_is_refused_where_its_kind_does_not_join_them(folder):
    other = 'need = { id = "retina-1", kind = "retina", earliest = "3", target = "4", latest = "5" }'
    line = add(folder, "rules-2-needs.toml", rule("again", f'when = ["glaucoma"]\n{other}'))
    error = refusal(folder)
    assert "two windows" in error.line
    assert line_of(error) == ("rules-2-needs.toml", line)


def test_a_course_above_the_label_of_a_medicine_that_is_not_there_is_refused(folder):
    owned = '[[above_label]]\nmedicine = "wonder-drop"\ndrops_a_day = 8\ndays = 9\n'
    owned += 'owner = "Dr Osei"\nreason = "uveitis"\n'
    line = add(folder, "protocol.toml", owned)
    error = refusal(folder)
    assert 'no medicine "wonder-drop"' in error.line
    assert line_of(error) == ("protocol.toml", line + 1)


def test_a_missing_tier_is_refused(folder):
    text = (folder / "protocol.toml").read_text(encoding="utf-8")
    kept = text[: text.index("[tier.C]")] + text[text.index("[tier.C]") :].partition("\n\n")[2]
    (folder / "protocol.toml").write_text(kept, encoding="utf-8")
    assert "tier C is missing" in refusal(folder).line
