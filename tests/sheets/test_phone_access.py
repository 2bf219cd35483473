"""The phone page for those who hear it or tap it: the rules of WCAG 2.2 that a program can check."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from followup.language.languages import LANGUAGES
from followup.sheets.content import SheetOptions
from followup.sheets.phone import render_phone

_VOID = {"meta", "br", "col", "path", "circle", "rect", "ellipse", "line", "polyline"}


class _Tree(HTMLParser):
    """Elements with their parents, and the text inside each."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[dict] = []
        self.all: list[dict] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        element = {"tag": tag, "attrs": dict(attrs), "up": list(self.open), "text": ""}
        self.all.append(element)
        if tag not in _VOID and not self.get_starttag_text().endswith("/>"):
            self.open.append(element)

    def handle_endtag(self, tag):
        if tag in _VOID:
            return
        assert self.open[-1]["tag"] == tag, f"</{tag}> closes <{self.open[-1]['tag']}>"
        self.open.pop()

    def handle_data(self, data):
        for element in self.open:
            element["text"] += data

    def __getitem__(self, tag: str) -> list[dict]:
        return [e for e in self.all if e["tag"] == tag]


VERSIONS = [
    *(pytest.param(tag, SheetOptions(), id=tag) for tag in LANGUAGES),
    *(
        pytest.param(tag, SheetOptions(pictures=True, twin="en", native_digits=True), id=f"{tag}-all")
        for tag in ("bn", "ar", "fr")
    ),
]
versions = pytest.mark.parametrize(("tag", "options"), VERSIONS)


_TREES: dict = {}


@pytest.fixture
def tree(tag, options, make_content):
    """The page of a language with these options, made once for all tests."""
    if (tag, options) not in _TREES:
        _TREES[tag, options] = _Tree(render_phone(make_content(language=tag, options=options)))
    return _TREES[tag, options]


@versions
def test_it_is_well_formed_with_language_title_and_landmarks(tag, options, tree):
    assert tree.open == []
    assert tree["html"][0]["attrs"]["lang"] == tag  # 3.1.1
    assert tree["title"][0]["text"].strip()  # 2.4.2
    assert len(tree["main"]) == 1  # 1.3.1
    own = LANGUAGES[tag].direction
    leaves = [(tag, own)] + ([("en", "ltr")] if options.twin else [])
    articles = [(e["attrs"]["lang"], e["attrs"]["dir"]) for e in tree["article"]]  # 3.1.2
    assert articles == leaves
    for part in ("header", "footer", "h1", "caption"):
        assert len(tree[part]) == len(leaves)
    for element in tree["p"] + tree["h2"]:
        assert "article" in {e["tag"] for e in element["up"]}, element["text"]


@versions
def test_headings_go_down_one_level_at_a_time_and_none_is_empty(tag, options, tree):
    levels = [int(e["tag"][1]) for e in tree.all if re.fullmatch("h[1-6]", e["tag"])]
    assert levels[0] == 1
    assert levels.count(1) == len(tree["article"])
    assert all(b - a <= 1 for a, b in pairwise(levels))  # 1.3.1
    assert all(e["text"].strip() for e in tree.all if re.fullmatch("h[1-6]|a|li", e["tag"]))


@versions
def test_every_drawing_has_words_or_is_passed_over(tag, options, tree):
    for svg in tree["svg"]:  # 1.1.1
        outer = [e["attrs"] for e in svg["up"]] + [svg["attrs"]]
        named = any(a.get("role") == "img" and a.get("aria-label", "").strip() for a in outer)
        hidden = any(a.get("aria-hidden") == "true" for a in outer)
        assert named != hidden, svg["attrs"]


@versions
def test_lists_ids_and_other_languages_are_marked_rightly(tag, options, tree):
    for item in tree["li"]:
        assert item["up"][-1]["tag"] in ("ul", "ol")
    ids = [e["attrs"]["id"] for e in tree.all if "id" in e["attrs"]]
    assert len(ids) == len(set(ids))
    used = {m for e in tree.all for m in re.findall(r"url\(#([\w-]+)\)", str(e["attrs"].get("fill", "")))}
    assert used <= set(ids)


@versions
def test_every_table_has_a_name_and_every_cell_its_heads(tag, options, tree):
    tables = [t for t in tree["table"] if any(e["attrs"].get("class") == "table" for e in t["up"])]
    assert len(tables) == len(tree["article"])
    for table in tables:
        inner = [e for e in tree.all if table in e["up"]]
        (caption,) = [e for e in inner if e["tag"] == "caption"]
        assert caption["text"].strip()
        heads = [e for e in inner if e["tag"] == "th"]
        assert {e["attrs"]["scope"] for e in heads} == {"col", "colgroup", "row", "rowgroup"}
        assert all(e["text"].strip() for e in heads)
        columns = [e["attrs"]["scope"] for e in heads].count("col")
        for row in (e for e in inner if e["tag"] == "tr"):
            cells = [e for e in inner if e["up"][-1] is row]
            assert sum(int(e["attrs"].get("colspan", 1)) for e in cells) == columns
        marks = [e for e in inner if "letter" in e["attrs"].get("class", "")]
        assert len(marks) > 5
        assert all(e["attrs"]["role"] == "img" and len(e["attrs"]["aria-label"]) > 10 for e in marks)
    assert all("scope" in e["attrs"] for e in tree["th"])


def test_what_is_folded_opens_with_a_finger_and_without_a_script(make_content):
    page = render_phone(make_content())
    tree = _Tree(page)
    assert len(tree["details"]) == len(tree["summary"]) > 5
    assert not any("open" in e["attrs"] for e in tree["details"])
    folded = " ".join(e["text"] for e in tree["details"])
    for at_hand in ("Come at once", "By day:", "the last day is", "Come again", "Your drops by the clock"):
        assert at_hand not in folded
        assert at_hand in tree["article"][0]["text"]
    summary = re.search(r"\nsummary \{([^}]+)\}", page)[1]
    # Two paddings and a line of 1.3 times the 18 pixels of a heading.
    assert "padding: 11px" in summary
    assert 2 * 11 + 18 * 1.3 > 44  # 2.5.8 asks for 24


def test_it_can_be_enlarged_and_tapped(make_content):
    page = render_phone(make_content())
    viewport = re.search(r'name="viewport" content="([^"]+)"', page)[1]
    assert "user-scalable" not in viewport  # 1.4.4
    assert "maximum-scale" not in viewport
    assert "min-height: 44px" in re.search(r"\n\.call \{([^}]+)\}", page)[1]  # 2.5.8 asks for 24


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    colour = "#" + "".join(c * 2 for c in colour[1:]) if len(colour) == 4 else colour
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_every_pair_of_colours_is_read_with_ease(make_content):
    # Known values (WCAG technique G18 as quoted widely): #767676 on white passes, #777777 fails.
    assert _contrast("#767676", "#ffffff") > 4.5 > _contrast("#777777", "#ffffff")
    style = re.search(r"<style>(.*?)</style>", render_phone(make_content()), re.DOTALL)[1]
    text = set(re.findall(r"(?<!-)color: (#\w+)", style)) - {"#fff"}
    papers = set(re.findall(r"background: (#\w+)", style)) - {"#23201d"}
    assert text == {"#23201d", "#5c554e", "#6a2c5a"}
    assert papers == {"#fff", "#fbf8f2", "#eae7e1"}
    assert min(_contrast(t, p) for t in text for p in papers) > 4.5  # 1.4.3
    assert _contrast("#fff", "#23201d") > 4.5, "the mark of a draft"
