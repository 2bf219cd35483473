"""The sentences of rooms that know no language, read out of their source.

``clinical``, ``timing`` and ``records`` speak English; the desks put it into the staff's language
(see ``told``). A sentence with values, ``f"{day} is over"``, is the message ``{day} is over``.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

_ROOMS = ("timing", "clinical", "records", "language", "recall", "sheets", "desks")
# Read by whoever writes a protocol, starts the program or looks after the computer; never on a page.
_APART = re.compile(
    r"clinical/(compare_protocols|protocol\w*|caution_rules|review_checks|review_words|rule|rules"
    r"|formulary|toml_lines|facts|aftercare|recall_rules|review_rules|fact_tests)\.py"
    r"|timing/trip_checks\.py|records/(tables/.*|migrations/.*|backup|bound|proof|restore|restoring)(\.py)?"
    r"|records/(copying|engine|upkeep|store)(\.py)?"
    r"|recall/(health|keyring|daily|sweep|scheduler|messages/.*)(\.py)?"
    r"|language/(?!fonts|languages).*|desks/(security/headers|spoken|extraction|app|api/.*)\.py"
)
# Rooms where every text is for people.
_EXPLAINS = re.compile(r"clinical/(explain\w*|plan_names|english|review_signed)\.py")
_SAYS = frozenset(
    {"FollowupError", "ValueError", "_refused", "_page", "_number", "Refused"}
    | {"Outcome", "Overridden", "Wanted"}
)
_SILENT = frozenset(
    {
        "gettext",
        "ngettext",
        "pgettext",
        "N_",
        "NN_",
        "_",
        "RuntimeError",
        "TypeError",
        "log",
        "compile",
        "FastAPI",
    }
    | {"Field"}
)
_NOISE = frozenset(
    {"isoformat", "join", "sorted", "format", "upper", "lower", "len", "min", "max", "str", "listed"}
    | {"counted", "day_words", "self", "name", "splitlines", "replace", "strip", "type", "sentence", "set"}
    | {"or", "and", "not", "if", "else", "for", "in", "is", "None"}
)
_WORDS = re.compile(r"[^\W\d_]{2,}")


def spoken_in(package: Path) -> Iterator[tuple[str, str, int]]:
    """Each sentence with its file and line, in order; a sentence said twice comes twice."""
    for room in _ROOMS:
        for path in sorted((package / room).rglob("*.py")):
            place = path.relative_to(package).as_posix()
            if not _APART.fullmatch(place):
                tree = ast.parse(path.read_text(encoding="utf-8"))
                least = 2 if _EXPLAINS.fullmatch(place) else 0
                for text, line in _sentences(tree, least=least):
                    yield text, f"followup/{place}", line


def _sentences(node: ast.AST, *, least: int) -> Iterator[tuple[str, int]]:
    """``least``: how many words make a text that is said; 0 where only whole sentences are."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return  # a docstring
    if isinstance(node, ast.Call):
        called = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if called in _SILENT:
            return
        least = 1 if called in _SAYS else least
        if called == "FollowupError":
            node = ast.Call(func=node.func, args=node.args[1:], keywords=node.keywords)
    if isinstance(node, ast.Constant | ast.JoinedStr):
        text = _template(node).strip() if not isinstance(node, ast.Constant) or _is_text(node) else ""
        if text and _is_said(text, least):
            yield text, node.lineno
    if isinstance(node, ast.JoinedStr):
        # The values of a sentence may be words themselves.
        for part in node.values:
            if isinstance(part, ast.FormattedValue):
                yield from _sentences(part.value, least=least)
        return
    for child in ast.iter_child_nodes(node):
        yield from _sentences(child, least=least)


def _is_text(node: ast.Constant) -> bool:
    return isinstance(node.value, str)


def _is_said(text: str, least: int) -> bool:
    words = _WORDS.findall(re.sub(r"\{\w*\}", " value ", text))
    if "<" in text or not _WORDS.search(re.sub(r"\{\w*\}", "", text)):
        return False
    whole = re.match(r"[A-Z{\"]", text) and re.search(r"[.?]$", text) and " " in text
    # Where every text is for people, an id is none: it has no space.
    said = least == 1 or (least > 1 and " " in text and len(words) >= least)
    return bool(said or (whole and len(words) > 1))


def _template(node: ast.Constant | ast.JoinedStr) -> str:
    if isinstance(node, ast.Constant):
        return str(node.value)
    names: dict[str, str] = {}
    parts = []
    for value in node.values:
        if isinstance(value, ast.FormattedValue):
            parts.append("{" + _name(value.value, names) + "}")
        elif isinstance(value, ast.Constant):
            parts.append(str(value.value))
    return "".join(parts)


def _name(value: ast.expr, names: dict[str, str]) -> str:
    """A short name for a value, the same for the same expression, told apart otherwise."""
    written = ast.unparse(value)
    if written not in names:
        words = re.findall(r"[A-Za-z_]\w*", re.sub(r"'[^']*'|\"[^\"]*\"", "", written))
        kept = [word.strip("_").lower() for word in words if word not in _NOISE]
        name = kept[-1] if kept else "value"
        same = sum(re.fullmatch(rf"{name}(_\d+)?", taken) is not None for taken in names.values())
        names[written] = f"{name}_{same + 1}" if same else name
    return names[written]
