"""What a clinic may write into its set by a slip of the pen: each refused at loading, by file and line."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from followup.clinical.protocol.checks_facts import unused_facts
from followup.clinical.protocol.lint import lint_protocol
from followup.clinical.protocol.load import load_protocol
from followup.errors import FollowupError

NEEDS = "rules-2-needs.toml"
ALWAYS = '[[rule]]\nid = "own"\nbecause = "Ours."\nsource = "invented"\nmark = "C"\n'
WINDOW = 'kind = "wound", earliest = "5", target = "7", latest = "9"'
FILES = ("protocol", "facts", "rules-1-courses", "review", "recall", "aftercare", "formulary", "cautions")


def refused(folder):
    with pytest.raises(FollowupError) as caught:
        load_protocol(folder)
    assert re.search(r"\.toml line \d+$", caught.value.where), caught.value.line
    assert "\n" not in caught.value.line
    assert caught.value.fix
    assert caught.value.line in {problem.line for problem in lint_protocol(folder)}
    return caught.value


def put(path, old, new):
    """Put ``new`` where ``old`` first stands; the last line on which it now stands."""
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{old!r} does not stand in {path.name}"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1 + new.count("\n")


@pytest.mark.parametrize(
    ("body", "says"),
    [
        # Windows that end before they begin, or that no one can count from.
        ('need = {id = "z", kind = "wound", earliest = "9", target = "7", latest = "5"}', "in that order"),
        ('need = {id = "z", kind = "wound", earliest = "5", target = "10", latest = "9"}', "in that order"),
        (
            'need = {id = "z", kind = "wound", earliest = "L+9", target = "L+5", latest = "L+2"}',
            "in that order",
        ),
        (
            'need = {id = "z", kind = "wound", earliest = ["28", "L+1"], target = ["20", "L+7"], '
            'latest = ["56", "L+28"]}',
            "in that order",
        ),
        ('need = {id = "z", kind = "wound", earliest = "5", target = "7", latest = "99999"}', "not a day"),
        ('need = {id = "z", kind = "wound", earliest = "5", target = "7", latest = "\u00b2"}', "not a day"),
        ('need = {id = "z", kind = "wound", earliest = "5", target = "7", latest = "\u0669"}', "not a day"),
        ('need = {id = "z", kind = "wound", earliest = [], target = [], latest = []}', "at least 1 item"),
        (f'need = {{id = "z", {WINDOW}, tiers = []}}', "at least 1 item"),
        (f'need = {{id = "z", {WINDOW}, steroid_days_min = 10, steroid_days_max = 5}}', "steroid_days_max"),
        # Needs that wait for each other, or for themselves.
        (f'need = {{id = "z", {WINDOW}, after = {{need = "z", earliest = 3}}}}', "in a circle: z"),
        (
            f'need = [{{id = "z", {WINDOW}, after = {{need = "y", earliest = 3}}}}, '
            f'{{id = "y", {WINDOW}, after = {{need = "z", earliest = 3}}}}]',
            "hang on each other in a circle: y, z",
        ),
        (
            'need = {id = "stitches", kind = "stitches", earliest = "42", target = "49", latest = "63", '
            'after = {need = "refraction", earliest = 3}}',
            "in a circle: refraction, stitches",
        ),
        (
            f'need = [{{id = "z", {WINDOW}, unless_need = "y"}}, {{id = "y", {WINDOW}, unless_need = "z"}}]',
            "give way to each other in a circle: y, z",
        ),
        (
            f'need = {{id = "z", {WINDOW}, after = {{need = "wound", earliest = -3}}}}',
            "greater than or equal",
        ),
        (
            f'need = {{id = "z", {WINDOW}, after = {{need = "wound", earliest = 9, latest = 2}}}}',
            "in that order",
        ),
        # Numbers that are none, or of another kind.
        ('rank = nan\ntier = "A"', "nan is no number"),
        ('rank = 1.5\ntier = "A"', "valid integer"),
        ('course = {role = "antibiotic", steps = [[4, 0]]}', "greater than or equal to 1"),
        ('course = {role = "antibiotic", steps = [[-4, 3]]}', "1 to 16 a day"),
        ('course = {role = "antibiotic", steps = [[true, 3]]}', "valid integer"),
        ('course = {role = "antibiotic", steps = [[4, 3.0]]}', "valid integer"),
        ('course = {role = "antibiotic", steps = [["4", 3]]}', "valid integer"),
        ('course = {role = "antibiotic", steps = []}', "at least 1 item"),
        # Questions and checks that say nothing, or nothing possible.
        ('ask = {text = "", fields = ["patient.language"]}', "at least 3"),
        (
            'ask = {text = "Really?", fields = ["patient.language"], when_count = 0}',
            "greater than or equal to 1",
        ),
        ('ask = {text = "Really?", fields = ["in_use_nothing.x"]}', "no field"),
        ('ask = {text = "Really?", fields = ["in_use.colour"]}', "no field"),
        (
            'before_leaving = {kind = "pressure", text = "Again.", earliest_hours = 7, latest_hours = 3}',
            "before earliest_hours",
        ),
        (
            'before_leaving = {kind = "pressure", text = "Again.", earliest_hours = -3, latest_hours = 3}',
            "equal to 0",
        ),
        ('when = ["glaucoma"]\ntier = "A"', "always and only when"),
    ],
)
def test_a_rule_that_can_not_be_meant_is_refused(folder, body, says):
    path = folder / NEEDS
    lines = path.read_text(encoding="utf-8").count("\n") + 2
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{ALWAYS}always = true\n{body}\n", encoding="utf-8")
    error = refused(folder)
    assert says in error.what
    assert NEEDS in error.where
    assert int(error.where.split()[-1]) >= lines


@pytest.mark.parametrize(
    "conditions",
    [
        'when = ["glaucoma"]\nunless = ["glaucoma"]',
        'when = ["glaucoma", "not glaucoma"]',
        'when = ["glaucoma"]\nunknown = ["glaucoma"]',
        'any_of = ["glaucoma"]\nunless = ["glaucoma"]',
    ],
)
def test_a_rule_that_can_never_fire_is_refused(folder, conditions):
    put(folder / NEEDS, ALWAYS[:8], f'{ALWAYS}{conditions}\ntier = "A"\n\n{ALWAYS[:8]}')
    assert "can never fire" in refused(folder).what


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("protocol.toml", "weaker_from = 1", "weaker_from = 9", "past the last step"),
        ("protocol.toml", "14 }, { from_count = 1", "14 }, { from_count = 4", "from the same count"),
        ("protocol.toml", '[kind.wound]\nservice = "review"', '[kind.wound]\nservice = ""', "at least 2"),
        ("protocol.toml", "price = 100", "price = inf", "inf is no number"),
        ("protocol.toml", 'is = "normal"', 'is = "norml"', 'chamber is never "norml"'),
        ("protocol.toml", 'field = "chamber"', 'field = "chambr"', 'no field "chambr" of an operation'),
        ("protocol.toml", 'field = "chamber"', 'field = "procedure"', '"procedure" stands twice'),
        ("protocol.toml", 'borderline = "6/60"', 'borderline = "6/12"', "worse than good"),
        ("formulary.toml", "open_days = 28  ", "open_days = 29  ", '"usual.open_days"'),
        ("cautions.toml", 'sheet = "', 'sheet = "no-', 'no sentence "no-'),
        ("aftercare.toml", 'until_look = "', 'until_look = "no-', 'no look that a rule asks for "no-'),
        ("names.toml", 'field = "', 'field = "no.', 'no field "no.'),
        ("facts.toml", "over = 45", "over = nan", "nan is no number"),
        ("facts.toml", "over = 45", "over = true", "valid number"),
        ("facts.toml", "over = 45", "over = 45\nunder = 3", "no number lies between"),
        ("facts.toml", 'is = ["male"]', 'is = ["mal"]', 'patient.sex is never "mal"'),
        ("facts.toml", 'is = ["male"]', "mentions = []", "at least 1 item"),
        (
            "facts.toml",
            'field = "eye.glaucoma"\nis = [true]',
            'field = "eye.glaucoma"\nis = ["true"]',
            "never",
        ),
        (
            "facts.toml",
            'field = "eye.glaucoma"\nis = [true]',
            'field = "eye.glaucoma"\nmentions = ["yes"]',
            "no free text",
        ),
        (
            "facts.toml",
            'field = "eye.glaucoma"\nis = [true]',
            'field = "eye.glaucoma"\ncontains = ["yes"]',
            "no list",
        ),
        (
            "facts.toml",
            'field = "operation.cut_mm"\npresent = true',
            'field = "patient.sex"\nover = 5\nbecause = "x"\nsource = "x"\nmark = "C"',
            "no number",
        ),
        (
            "facts.toml",
            'contains = ["stretched", "hooks", "ring"]',
            'contains = ["stretchd"]',
            'never "stretchd"',
        ),
        ("facts.toml", 'some = { to = ["sulfonamide"] }', 'some = { too = ["sulfonamide"] }', 'has no "too"'),
        (
            "facts.toml",
            'some = { to = ["sulfonamide"] }',
            'some = { to = ["sulfonamid"] }',
            'no to "sulfonamid"',
        ),
        (
            "facts.toml",
            'field = "last_look.chamber"',
            'field = "reviews.chamber"',
            'no field "reviews.chamber"',
        ),
        ("facts.toml", 'no_where = ["male"', 'absent = "no"\nno_where = ["male"', "no_where goes with"),
        ("facts.toml", 'no_where = ["male"', 'no_where = ["man of old"', 'builds on "man of old"'),
        ("facts.toml", 'names = ["its class"]', 'names = ["its clas"]', 'has no names "its clas"'),
        ("cautions.toml", 'when_any = ["severe_dry_eye"]', 'when_any = ["dry"]', 'no fact "dry"'),
        ("cautions.toml", 'unless = ["aspirin_wheeze"]', 'unless = ["wheeze"]', 'no fact "wheeze"'),
        (
            "cautions.toml",
            'when_any = ["mao_inhibitor"]\nfires',
            'when_any = ["diabetes"]\nfires',
            '"diabetes" is never not recorded',
        ),
        ("formulary.toml", '"urine_retention"', '"bad luck"', 'no fact "bad luck"'),
        (
            "rules-1-courses.toml",
            'when = ["weak_endothelium"]',
            'when = ["past_label_days"]',
            '"past_label_days" is about a medicine',
        ),
        ("facts.toml", 'is = ["slow", "fast"]', 'is = ["slow", "quick"]', 'never "quick"'),
        ("facts.toml", 'any_of = ["glaucoma", "damaged_nerve"]', "any_of = []", "at least 1 item"),
        (
            "facts.toml",
            'all_of = ["uveitic", "quiet_90"]',
            'all_of = ["uveitic", "not uveitic"]',
            "can never hold",
        ),
        ("review.toml", "[[16, 3], [8, 4]]", "[[16, 0], [8, 4]]", "greater than or equal to 1"),
        ("review.toml", "[[16, 3], [8, 4]]", "[[-16, 3], [8, 4]]", "greater than or equal to 1"),
        ("review.toml", "[[16, 3], [8, 4]]", "[[4, 3], [8, 4]]", "rises along the steps"),
        ("review.toml", "[[16, 3], [8, 4]]", "[]", "at least 1 item"),
        ("review.toml", "steroid = [[4, 28]", "steroid = [[4, 0]", "greater than or equal to 1"),
        ("review.toml", "see_again = [2, 3, 4]", "see_again = [4, 3, 2]", "in that order"),
        ("review.toml", "look = [6, 7, 8]", "look = [-6, 7, 8]", "greater than or equal to 0"),
        ("review.toml", "nsaid_days = 42", "nsaid_days = -42", "greater than or equal to 1"),
        ("review.toml", "since_days = 84", "since_days = -84", "greater than or equal to 0"),
        ("review.toml", "rise_from_day = 5", 'rise_from_day = "5"', "valid integer"),
        ("review.toml", "rise = 10", "rise = nan", "nan is no number"),
        ("review.toml", "bands = [20, 31]", "bands = [31, 20]", "must lie under"),
        ("review.toml", "from_day = 0\nto_day = 2", "from_day = 5\nto_day = 2", "before from_day"),
        (
            "review.toml",
            'finding = "hypopyon"\nis = ["yes"]',
            'finding = "hypopyon"\nis = ["ja"]',
            'never "ja"',
        ),
        (
            "review.toml",
            'finding = "hypopyon"\nis = ["yes"]',
            'finding = "hypopyon"\nis = []',
            "at least 1 item",
        ),
        ("review.toml", 'id = "hypopyon-crystals"', 'id = "hypopyon"', '"hypopyon" stands twice'),
        ("review.toml", 'id = "blood-sickle"', 'id = "pain"', '"pain" stands twice'),
        ("review.toml", 'id = "cornea-cloudy"', 'id = "leak"', '"leak" stands twice'),
        (
            "review.toml",
            'kind = "prostaglandin"\nmedicine = "latanoprost-0-005"',
            'kind = "beta-blocker"\nmedicine = "timolol-0-5"',
            "stands twice",
        ),
        ("review.toml", "at_least = 26\nup_to = 30", "at_least = 24\nup_to = 30", "two rows hold at 24"),
        ("review.toml", "at_least = 26\nup_to = 30", "at_least = 27\nup_to = 30", "no row holds at 26"),
        ("review.toml", "over = 40", "over = 41", "no row holds"),
        (
            "review.toml",
            'medicine = "sodium-chloride-5"',
            'medicine = "timolol-0-5"',
            "is pressure, not salt",
        ),
    ],
)
def test_a_line_that_can_not_be_meant_is_refused_where_it_stands(folder, file, old, new, says):
    last = put(folder / file, old, new)
    error = refused(folder)
    assert says in error.what, error.line
    assert file in error.where
    assert int(error.where.split()[-1]) <= last + 1


def test_cells_must_be_expected_in_both_kinds_of_eye(folder):
    text = (folder / "review.toml").read_text(encoding="utf-8")
    start, end = text.index('[[expected]]\neye = "uveitic"'), text.index("# ---- what a look must hold")
    (folder / "review.toml").write_text(text[:start] + text[end:], encoding="utf-8")
    assert "expected in a uveitic eye" in refused(folder).what


@pytest.mark.parametrize("name", FILES)
def test_an_empty_file_is_refused(folder, name):
    (folder / f"{name}.toml").write_text("", encoding="utf-8")
    assert f"{name}.toml" in refused(folder).where


@pytest.mark.parametrize("text", ["fact = 3\n", "fact = [3]\n", '[fact]\nname = "x"\n'])
def test_a_list_of_the_wrong_shape_is_refused(folder, text):
    (folder / "facts.toml").write_text(text, encoding="utf-8")
    assert "facts.toml line 1" in refused(folder).where


@pytest.mark.parametrize("name", FILES)
def test_a_byte_order_mark_and_windows_line_ends_change_nothing(folder, protocol, name):
    path = folder / f"{name}.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert load_protocol(folder).hash == protocol.hash


def test_no_fact_of_the_sample_is_dead(protocol):
    assert unused_facts(protocol) == ()


def test_a_fact_that_nothing_looks_at_is_told(protocol):
    fewer = tuple(rule for rule in protocol.rules if "gas_left" not in rule.names)
    assert unused_facts(replace(protocol, rules=fewer)) == ("gas_left",)
