"""The makers of single faults make what they say, and each fault has its judges and its name."""

from __future__ import annotations

import ast
import tomllib
from collections import Counter

import pytest
from run_mutants import enough
from single_faults import survivors
from single_faults.drawn import sample
from single_faults.fault import named
from single_faults.judges import judges
from single_faults.maker_clock import edits as clock_edits
from single_faults.maker_data import edits as data_edits
from single_faults.maker_python import edits as python_edits
from single_faults.maker_queries import edits as query_edits
from single_faults.maker_roles import edits as role_edits
from single_faults.maker_templates import edits as template_edits
from single_faults.makers import all_faults, faults_of
from single_faults.program import files, text_of
from single_faults.toml_places import entries

# Fewer of a kind than this: the maker has gone blind.
LEAST = {
    "figure": 1500,
    "flag": 200,
    "word": 1000,
    "entry out": 700,
    "line out": 2000,
    "item out": 2500,
    "comparison": 3000,
    "joint": 1500,
    "condition out": 3500,
    "not out": 500,
    "test turned": 2000,
    "number": 4000,
    "flag in code": 800,
    "extreme": 400,
    "sum": 500,
    "query condition out": 200,
    "query order out": 40,
    "query joint": 10,
    "argument out": 200,
    "step out": 1500,
    "role added": 700,
    "role out": 400,
    "role not asked": 30,
    "clinic's day": 50,
    "side": 90,
    "drawn: condition": 450,
    "layout: test turned": 120,
    "layout: loop out": 25,
    "layout: element out": 100,
    "layout: figure": 300,
    "page: test turned": 450,
    "page: loop out": 180,
    "page: output out": 1200,
    "page: element out": 110,
    "page: figure": 120,
    "page: unescaped": 100,
}


def made(maker, text: str) -> list[tuple[str, str]]:
    """Every fault of a text: its kind and what becomes of the text."""
    return [(edit.kind, text[: edit.start] + edit.new + text[edit.end :]) for edit in maker(text)]


def test_every_kind_of_fault_is_made_in_plenty():
    counted = Counter(fault.kind for fault in all_faults())
    assert {kind: counted[kind] for kind, least in LEAST.items() if counted[kind] < least} == {}


def test_no_two_faults_have_the_same_name():
    counted = Counter(fault.id for fault in all_faults())
    assert [name for name, times in counted.items() if times > 1] == []


def test_a_figure_goes_one_up_and_one_down():
    text = '[[row]]\nid = "a"\nday = 7\nmm = 0.30\nat = "08:00"\nwhen = "L+28"\nbecause = "42 days"\n'
    figures = [new.splitlines()[2:6] for kind, new in made(data_edits, text) if kind == "figure"]
    plain = text.splitlines()[2:6]
    changed = [next(a for a, b in zip(new, plain, strict=True) if a != b) for new in figures]
    assert changed == [
        "day = 8", "day = 6", "mm = 0.31", "mm = 0.29",
        'at = "09:00"', 'at = "07:00"', 'at = "08:01"', 'at = "08:-1"', 'when = "L+29"', 'when = "L+27"',
    ]  # fmt: skip


def test_an_entry_goes_with_its_parts_and_an_item_with_its_comma():
    text = '[[a]]\nid = "x"\nwhen = ["p", "q"]\n[[a.part]]\nn = true\n[[a]]\nid = "y"\n'
    assert [new for kind, new in made(data_edits, text) if kind == "entry out"] == [
        '[[a]]\nid = "y"\n',
        '[[a]]\nid = "x"\nwhen = ["p", "q"]\n[[a]]\nid = "y"\n',
        '[[a]]\nid = "x"\nwhen = ["p", "q"]\n[[a.part]]\nn = true\n',
    ]
    lists = [tomllib.loads(new)["a"][0]["when"] for kind, new in made(data_edits, text) if kind == "item out"]
    assert lists == [["q"], ["p"]]
    words = [tomllib.loads(new)["a"][0]["when"] for kind, new in made(data_edits, text) if kind == "word"]
    assert words == [["q", "q"], ["p", "p"]]


def test_a_line_of_python_is_turned_every_way():
    text = "def f(a, b):\n    return a < b and not b == 3\n"
    lines = sorted((kind, new.splitlines()[1].strip()) for kind, new in made(python_edits, text))
    assert lines == [
        ("comparison", "return a < b and not b != 3"),
        ("comparison", "return a <= b and not b == 3"),
        ("condition out", "return a < b"),
        ("condition out", "return not b == 3"),
        ("joint", "return a < b or not b == 3"),
        ("not out", "return a < b and  b == 3"),
        ("number", "return a < b and not b == 2"),
        ("number", "return a < b and not b == 4"),
    ]


def test_each_condition_of_a_query_is_dropped():
    text = "found = select(Row).where(Row.a == x, (Row.b > y) | (Row.c < z)).order_by(Row.a)\n"
    assert sorted(made(query_edits, text)) == [
        ("query condition out", "found = select(Row).where((Row.b > y) | (Row.c < z)).order_by(Row.a)\n"),
        ("query condition out", "found = select(Row).where(Row.a == x).order_by(Row.a)\n"),
        ("query condition out", "found = select(Row).where(Row.a == x, (Row.b > y)).order_by(Row.a)\n"),
        ("query condition out", "found = select(Row).where(Row.a == x, (Row.c < z)).order_by(Row.a)\n"),
        ("query order out", "found = select(Row).where(Row.a == x, (Row.b > y) | (Row.c < z))\n"),
    ]


def test_a_role_is_added_and_taken_in_the_table_and_in_a_use_case():
    text = '\nB = frozenset({"surgeon"})\nTABLE = {("GET", "/x"): B}\nunit.need_role(*CLINICAL)\n'
    duties = 'CLINICAL = ("counsellor", "surgeon")\n'
    lines = [new.splitlines() for _, new in made(lambda text: role_edits(text, duties), text)]
    table = [line[2] for line in lines if line[2] != text.splitlines()[2]]
    assert sorted(table) == [
        'TABLE = {("GET", "/x"): (B - {"surgeon"})}',
        'TABLE = {("GET", "/x"): (B | {"anonymous"})}',
        'TABLE = {("GET", "/x"): (B | {"counsellor"})}',
        'TABLE = {("GET", "/x"): (B | {"manager"})}',
        'TABLE = {("GET", "/x"): (B | {"pharmacy"})}',
        'TABLE = {("GET", "/x"): (B | {"reception"})}',
    ]
    asked = [line[3] for line in lines if line[3] != text.splitlines()[3]]
    assert sorted(asked) == [
        "None",
        'unit.need_role(*(r for r in (*CLINICAL,) if r != "counsellor"))',
        'unit.need_role(*(r for r in (*CLINICAL,) if r != "surgeon"))',
        'unit.need_role(*CLINICAL, "manager")',
        'unit.need_role(*CLINICAL, "pharmacy")',
        'unit.need_role(*CLINICAL, "reception")',
    ]


def test_the_day_of_the_clinic_becomes_that_of_utc():
    text = "zone = clinic.zone\ntoday = now.astimezone(zone).date()\nsaid = now.astimezone(UTC)\n"
    assert made(clock_edits, text) == [
        ("clinic's day", text.replace("(zone)", '(__import__("datetime").UTC)')),
    ]


def test_a_drawing_and_a_page_are_changed_where_they_decide():
    layout = '// left\n#let mark = if bottle.side == "left" { box(width: 3mm) } else { none }\n'
    assert sorted(new.splitlines()[1] for _, new in made(lambda t: template_edits("a.typ", t), layout)) == [
        '#let mark = if bottle.side != "left" { box(width: 3mm) } else { none }',
        '#let mark = if bottle.side == "left" { box(width: 2mm) } else { none }',
        '#let mark = if bottle.side == "left" { box(width: 4mm) } else { none }',
        '#let mark = if bottle.side == "right" { box(width: 3mm) } else { none }',
        '#let mark = if not (bottle.side == "left") { box(width: 3mm) } else { none }',
    ]
    page = (
        "{# the right eye #}{% for s in signs %}<bdi>{{ s }}</bdi>{% endfor %}{% if a and b %}x{% endif %}\n"
    )
    assert {new for _, new in made(lambda t: template_edits("a.html", t), page)} == {
        page.replace("in signs", "in []"),
        page.replace("{{ s }}", ""),
        page.replace("{{ s }}", "{{ (s) | safe }}"),
        page.replace("a and b", "a or b"),
        page.replace("a and b", "not (a and b)"),
    }


def test_a_name_stays_when_lines_move_and_changes_with_what_it_names():
    def names(text):
        return [fault.id for fault in named("a.py", text, python_edits(text))]

    text = "def f(a):\n    return a < 3\n"
    assert names("import os\n\n\n" + text) == names(text)
    assert not set(names(text.replace("3", "4"))) & set(names(text))


@pytest.mark.parametrize("file", [file for file in files() if file.endswith(".toml")])
def test_the_places_in_a_data_file_hold_what_the_usual_reader_finds(file):
    assert put_together(text_of(file)) == tomllib.loads(text_of(file))


def put_together(text: str) -> dict:
    """A data file from its entries."""
    whole: dict = {}
    for entry in entries(text):
        table = whole
        *above, last = entry.path.split(".")
        for name in above:
            table = table.setdefault(name, {})
            table = table[-1] if isinstance(table, list) else table
        if entry.repeated:
            table.setdefault(last, []).append({})
            table = table[last][-1]
        elif last:
            table = table.setdefault(last, {})
        table.update((pair.key, pair.value.value) for pair in entry.pairs)
    return whole


@pytest.mark.parametrize("file", files())
def test_a_faulty_file_can_still_be_read(file):
    """A fault that stops the program from being read at all would be noticed by anything."""
    text, every = text_of(file), faults_of(file)
    for fault in every[:: max(1, len(every) // 2)]:
        changed = fault.applied(text)
        if file.endswith(".toml"):
            assert tomllib.loads(changed) != tomllib.loads(text), fault.shown()
        elif file.endswith(".py"):
            ast.parse(changed)
        assert changed != text


def test_every_file_with_faults_has_judges():
    assert [file for file in files() if faults_of(file) and not judges(file)] == []


def test_a_sample_is_the_same_for_the_same_seed_and_holds_every_kind():
    faults = all_faults()
    drawn = sample(faults, 60, "a")
    assert len({fault.id for fault in drawn}) == 60
    assert sample(faults, 60, "a") == drawn
    assert sample(faults, 60, "b") != drawn
    assert {fault.kind for fault in drawn} == {fault.kind for fault in faults}


def test_the_survivors_are_faults_that_can_still_be_made_and_never_more():
    kept = survivors.survivors()
    assert len(kept) <= survivors.most()
    assert sorted(set(kept) - {fault.id for fault in all_faults()}) == []
    assert {name: why for name, why in kept.items() if len(why) < 20} == {}


@pytest.mark.parametrize(
    ("noticed", "of", "drawn", "holds"),
    [
        (18, 23, True, True),
        (15, 23, True, False),
        (18, 23, False, False),
        (80, 100, False, True),
        (0, 0, True, True),
    ],
)
def test_a_few_drawn_faults_fail_a_run_only_where_chance_alone_does_not_explain_it(noticed, of, drawn, holds):
    assert enough(noticed, of, 80, drawn=drawn) is holds
