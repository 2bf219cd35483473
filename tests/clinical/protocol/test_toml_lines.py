"""Every table, key and item of a TOML file is found on its own line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, ValidationError

from followup.clinical.protocol.lines import Locate, load_toml, toml_problem, where
from followup.errors import FollowupError

PROTOCOL = """\
# a protocol
name = "sample"
version = 3

[[rule]]   # the first
id = "quiet"
text = '''
[[rule]]
id = "not a table: words"
'''
when = ["a", "b"]

[tier.A]
"days on steroid" = 14
limits = [
  # comment } here
  { day = 9, name = 'x' }, # and ] here

  { day = 10 },
]

[[rule]]
steps = [[4, 7],
         [3, 7]]
because = "it's"
[rule.extra]
note.deep = 1
born = 1979-05-27 07:32:00
[[rule.part]]
x = 1
[[rule.part]]
x = 2
"""


@pytest.fixture
def load(tmp_path: Path):
    def _load(text: str) -> tuple[dict, Locate]:
        path = tmp_path / "protocol.toml"
        path.write_bytes(text.encode())
        return load_toml(path)

    return _load


@pytest.mark.parametrize(
    ("place", "line"),
    [
        (("name",), 2),
        (("version",), 3),
        (("rule", 0), 5),
        (("rule", 0, "text"), 7),
        (("rule", 0, "when"), 11),
        (("rule", 0, "when", 1), 11),
        (("tier", "A"), 13),
        (("tier", "A", "days on steroid"), 14),
        (("tier", "A", "limits", 0, "name"), 17),
        (("tier", "A", "limits", 1, "day"), 19),
        (("rule", 1), 22),
        (("rule", 1, "steps", 1), 24),
        (("rule", 1, "steps", 1, 0), 24),
        (("rule", 1, "because"), 25),
        (("rule", 1, "extra"), 26),
        (("rule", 1, "extra", "note", "deep"), 27),
        (("rule", 1, "extra", "born"), 28),
        (("rule", 1, "part", 0, "x"), 30),
        (("rule", 1, "part", 1, "x"), 32),
    ],
)
def test_a_place_is_found_on_its_line(load, place, line):
    _, locate = load(PROTOCOL)
    assert locate(*place) == line


def test_the_data_are_those_of_the_standard_reader(load):
    data, _ = load(PROTOCOL)
    assert data["rule"][1]["because"] == "it's"
    assert [part["x"] for part in data["rule"][1]["part"]] == [1, 2]


def test_a_key_that_is_missing_points_to_the_table_it_is_missing_from(load):
    _, locate = load(PROTOCOL)
    assert locate("rule", 1, "source") == 22
    assert locate("nothing", "at", "all") == 1


def test_windows_line_ends_count_once(load):
    _, locate = load(PROTOCOL.replace("\n", "\r\n"))
    assert locate("rule", 1, "part", 1, "x") == 32


def test_a_file_that_is_not_toml_is_refused_with_its_line(load):
    with pytest.raises(FollowupError) as caught:
        load('a = 1\nb = "open\n')
    assert caught.value.code == "toml.syntax"
    assert caught.value.where == "protocol.toml line 2"


def test_a_file_cut_off_in_the_middle_is_refused_in_one_line(load):
    with pytest.raises(FollowupError, match="not valid TOML"):
        load('a = 1\nb = """never closed')


def test_a_key_written_twice_is_refused(load):
    with pytest.raises(FollowupError, match=r"protocol\.toml line 2"):
        load("a = 1\na = 2\n")


def test_text_in_another_encoding_is_refused_with_its_line(tmp_path):
    path = tmp_path / "old.toml"
    path.write_bytes('a = 1\nb = "naïve"\n'.encode("latin-1"))
    with pytest.raises(FollowupError, match=r"old\.toml line 2.*UTF-8"):
        load_toml(path)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(FollowupError, match=r"nowhere\.toml"):
        load_toml(tmp_path / "nowhere.toml")


def test_a_huge_file_is_refused_before_it_is_read_as_toml(tmp_path):
    path = tmp_path / "big.toml"
    path.write_bytes(b"#" * 4_000_001)
    with pytest.raises(FollowupError, match="larger than"):
        load_toml(path)


def test_deep_nesting_is_refused_not_crashed_on(load):
    with pytest.raises(FollowupError, match=r"protocol\.toml"):
        load("a = " + "[" * 50_000 + "]" * 50_000)


class Rule(BaseModel):
    model_config = ConfigDict(extra="forbid")
    id: str
    days: int


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[rule]]\nid = "a"\n', 'rules.toml line 1: the key "days" is missing - add it'),
        ('[[rule]]\nid = "a"\ndays = 1\nday = 2\n', 'rules.toml line 4: unknown key "day"'),
        ('[[rule]]\nid = "a"\n\ndays = "x"\n', 'rules.toml line 4: "days":'),
    ],
)
def test_a_refused_table_is_named_by_file_line_and_key(tmp_path, text, said):
    path = tmp_path / "rules.toml"
    path.write_text(text)
    data, locate = load_toml(path)
    with pytest.raises(ValidationError) as caught:
        Rule.model_validate(data["rule"][0])
    problem = toml_problem(caught.value, path, locate, ("rule", 0), code="protocol.rule")
    assert problem.line.startswith(said)
    assert problem.code == "protocol.rule"


def test_where_names_file_and_line(tmp_path):
    path = tmp_path / "rules.toml"
    path.write_text("\n\na = 1\n")
    _, locate = load_toml(path)
    assert where(path, locate, "a") == "rules.toml line 3"


keys = st.sampled_from(["id", "Because", "days-2", "a b", 'q"x', "ключ", "1"])
noise = st.sampled_from(["", "\n", "# [x]\n", "  \n# k = 1\n"])
scalars = st.sampled_from(
    [
        "1",
        "-2.5e3",
        "true",
        '"a # [b]"',
        '"\\"]"',
        "'c = \\'",
        '"""\n[z]\nk = 1\n"""',
        "'''\n''x\n'''",
        '"""two ends"""""',
        "1979-05-27 07:32:00",
        "07:32:00",
        "[]",
        "{}",
        "[1, 2,\n # [\n 3]",
        "{ k = 1 , l.m = [2] }",
        "[[1] , [ ], [{ k = 1 }],]",
    ]
)
tables = st.lists(st.lists(st.tuples(keys, scalars, noise), unique_by=lambda entry: entry[0]), max_size=5)


@given(tables)
def test_each_key_stands_where_it_was_written(tmp_path_factory, written):
    """The writer counts line ends as it writes and knows nothing of the reader."""
    text, expected = "", {}
    for number, entries in enumerate(written):
        expected["t", number] = text.count("\n") + 1
        text += "[[t]] # [[t]]\n"
        for key, value, gap in entries:
            text += gap
            expected["t", number, key] = text.count("\n") + 1
            bare = key.isascii() and key.replace("-", "").isalnum()
            quoted = key if bare else '"' + key.replace('"', '\\"') + '"'
            text += f" {quoted} = {value} # end\n"
    path = tmp_path_factory.mktemp("toml") / "t.toml"
    path.write_text(text, encoding="utf-8", newline="\n")
    _, locate = load_toml(path)
    assert {place: locate(*place) for place in expected} == expected
