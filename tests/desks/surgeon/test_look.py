"""The look: contrast by the WCAG formula, nothing from outside, whole sentences for translators."""

from __future__ import annotations

import re
from itertools import product

import pytest
from babel.messages.extract import extract_from_dir
from jinja2 import TemplateAssertionError
from jinja2.ext import babel_extract

from followup import resources
from followup.desks.page.pages import environment

TEMPLATES = resources.folder("templates") / "desks"
CSS = (resources.folder("templates") / "static" / "desk.css").read_text("utf-8")
COLOURS = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", CSS))


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 definition."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_published_pairs():
    # WCAG 2.2, understanding 1.4.3: #767676 on white passes 4.5:1, #777777 fails.
    assert round(_contrast("#767676", "#ffffff"), 2) == 4.54
    assert round(_contrast("#777777", "#ffffff"), 2) == 4.48


TEXT_PAIRS = [
    *product(("ink", "soft", "plum"), ("paper", "card")),
    *((state, f"{state}-tint") for state in ("due", "late", "overdue", "done", "plum")),
    *(("ink", f"{state}-tint") for state in ("due", "late", "overdue", "done", "plum")),
    *(("soft", f"{state}-tint") for state in ("late", "overdue", "done", "plum")),
    ("plum", "overdue-tint"),
    ("plum", "late-tint"),
    ("paper", "ink"),
    ("card", "plum"),
]


@pytest.mark.parametrize(("text", "ground"), TEXT_PAIRS)
def test_text_stands_out_from_its_ground(text, ground):
    assert _contrast(COLOURS[text], COLOURS[ground]) >= 4.5


@pytest.mark.parametrize(("mark", "ground"), [*product(("line", "plum"), ("paper", "card"))])
def test_borders_of_controls_stand_out_from_their_ground(mark, ground):
    # WCAG 2.2, 1.4.11: 3:1 for what makes a control visible.
    assert _contrast(COLOURS[mark], COLOURS[ground]) >= 3


def test_every_state_has_a_shape_beside_its_colour():
    states = set(re.findall(r"\.state\.([a-z]+) \{", CSS))
    shapes = dict(re.findall(r'\.state\.([a-z]+)::before \{ content: "(.)"', CSS))
    assert states == set(shapes) == {"due", "late", "overdue", "done", "question", "quiet"}
    assert len(set(shapes.values())) == len(shapes)


def test_nothing_is_fetched_from_outside():
    files = [*TEMPLATES.glob("*.html"), *(resources.folder("templates") / "static").iterdir()]
    assert len(files) > 15
    for path in files:
        content = path.read_text("utf-8")
        assert not re.search(r"(https?:)?//[a-z]", content.replace("// ", "")), path.name
        assert "@import" not in content
        assert "<style" not in content
        assert " style=" not in content
        assert not re.search(r"\son[a-z]+=", content), path.name


@pytest.mark.parametrize("path", sorted(TEMPLATES.glob("*.html")), ids=lambda path: path.name)
def test_every_template_compiles(path):
    environment("en").get_template(f"desks/{path.name}")


def test_a_page_can_not_let_anything_through_as_markup():
    with pytest.raises(TemplateAssertionError, match="safe"):
        environment("en").from_string("{{ who.name | safe }}")
    typed = "<b>&\"'"
    assert environment("en").from_string("{{ typed }}").render(typed=typed) == "&lt;b&gt;&amp;&#34;&#39;"


def _messages() -> list[str]:
    found = extract_from_dir(
        TEMPLATES,
        method_map=[("**.html", babel_extract)],
        options_map={"**.html": {"trimmed": "true", "newstyle_gettext": "true", "silent": "false"}},
    )
    said: list[str] = []
    for _file, _line, message, _comments, _context in found:
        said += [message] if isinstance(message, str) else [m for m in message if m]
    return said


def test_no_message_of_the_pages_holds_a_bare_percent_sign():
    messages = _messages()
    assert len(messages) > 150
    for message in messages:
        names = re.findall(r"%\(([a-z_]+)\)s", message)
        message % dict.fromkeys(names, "x")
        assert "%" not in re.sub(r"%\([a-z_]+\)s|%%", "", message), message


def test_a_language_without_translated_pages_falls_back_to_english():
    assert environment("xx").from_string("{{ _('Today') }}").render() == "Today"
