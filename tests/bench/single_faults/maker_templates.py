"""Faults in layouts and pages: sides exchanged, conditions turned, elements dropped, figures moved, text let
through unescaped."""

from __future__ import annotations

import re
from collections.abc import Iterator

from single_faults.fault import Edit

_SIDE = re.compile(r"(?<![\w-])(left|right)(?![\w])")
_COMPARISON = re.compile(r"(==|!=|<=|>=)|(?<=[\w)] )([<>])(?= [\w(])")
_TURNED = {"==": "!=", "!=": "==", "<=": "<", ">=": ">", "<": "<=", ">": ">="}
_JOINT = re.compile(r"\b(and|or)\b")
_NOT = re.compile(r"\bnot (?!in\b|none\b)")
_FLAG = re.compile(r"\b(true|false)\b")


def edits(file: str, text: str) -> Iterator[Edit]:
    if file.endswith(".typ"):
        yield from _of_layout(text)
    else:
        yield from _of_page(text)


# ---- layouts (Typst) -------------------------------------------------------------------------
_COMMENT = re.compile(r"//[^\n]*")
_STRING = re.compile(r'"(?:[^"\\]|\\.)*"')
_TYPST_IF = re.compile(r"\bif\s+(?=\S)")
_TYPST_FOR = re.compile(r"\bfor\s+[^{}\n]+?\s+in\s+([^{}\n]+?)\s*\{")
_TYPST_CALL = re.compile(r"^[ \t]*#?([a-z][\w-]*(?:\.[a-z][\w-]*)*)\([^\n]*\)[ \t]*$", re.MULTILINE)
# Numbers that count or measure: indices, counts, whole millimetres; not the points of a curve.
_TYPST_NUMBER = re.compile(r"(?<![\w.#-])(\d+)(mm|cm)?(?![\w.%]| \* u)")


def _of_layout(text: str) -> Iterator[Edit]:
    comments = [match.span() for match in _COMMENT.finditer(text)]
    hidden = [*comments, *(match.span() for match in _STRING.finditer(text))]
    yield from _sides(text, comments)
    yield from _words(text, hidden)
    for match in _TYPST_IF.finditer(text):
        end = _end_of_condition(text, match.end())
        if _open(match.start(), hidden) and end:
            yield Edit("layout: test turned", match.end(), end, f"not ({text[match.end() : end].strip()}) ")
    for match in _TYPST_FOR.finditer(text):
        if _open(match.start(), hidden):
            yield Edit("layout: loop out", match.start(1), match.end(1), "()")
    for match in _TYPST_CALL.finditer(text):
        if _open(match.start(1), hidden) and _whole(match.group()) and match.group(1) not in _SETTING:
            yield Edit("layout: element out", match.start(), match.end(), "")
    for match in _TYPST_NUMBER.finditer(text):
        if _open(match.start(), hidden):
            yield from _moved("layout: figure", match)


_SETTING = frozenset({"set", "let", "import", "if", "for", "while", "show", "return"})


def _end_of_condition(text: str, start: int) -> int | None:
    """Where the condition ends: at the brace or bracket of its body."""
    depth = 0
    for place in range(start, min(len(text), start + 300)):
        letter = text[place]
        if letter in "(":
            depth += 1
        elif letter in ")":
            depth -= 1
        elif letter in "{[" and depth == 0:
            return place
        if depth < 0:
            return None
    return None


def _whole(line: str) -> bool:
    return line.count("(") == line.count(")")


# ---- pages (Jinja) ---------------------------------------------------------------------------
_NOTE = re.compile(r"\{#.*?#\}", re.DOTALL)
_TAG = re.compile(r"\{%-?\s*(if|elif|for)\s+(.*?)\s*-?%\}")
_OUTPUT = re.compile(r"\{\{-?\s*(.*?)\s*-?\}\}")
_INLINE = re.compile(r"(\{\{|\{%)(.*?)(\}\}|%\})")
_ELEMENT = re.compile(r"<(input|option|button|img|br|label|strong|a)\b[^<>]*>")
_PAGE_NUMBER = re.compile(r"(?<![\w.#-])(\d+(?:\.\d+)?)()(?![\w.%])")


def _of_page(text: str) -> Iterator[Edit]:
    yield from _sides(text, [match.span() for match in _NOTE.finditer(text)])
    for match in _TAG.finditer(text):
        word, said = match.group(1), match.group(2)
        if word == "for":
            listed = said.split(" in ", 1)[1].split(" if ")[0] if " in " in said else ""
            if listed:
                start = match.start(2) + said.index(" in ") + len(" in ")
                yield Edit("page: loop out", start, start + len(listed), "[]")
        else:
            yield Edit("page: test turned", match.start(2), match.end(2), f"not ({said})")
    for match in _OUTPUT.finditer(text):
        yield Edit("page: output out", match.start(), match.end(), "")
        # What people typed stands isolated from the sentence around it, or as the value of a field.
        if text[: match.start()].endswith(("<bdi>", 'value="')):
            yield Edit("page: unescaped", match.start(1), match.end(1), f"({match.group(1)}) | safe")
    for match in _INLINE.finditer(text):
        inside, start = match.group(2), match.start(2)
        hidden = [
            (start + found.start(), start + found.end())
            for found in re.finditer(r"\"[^\"]*\"|'[^']*'", inside)
        ]
        for edit in (*_words(inside, [], start), *_numbers(inside, start)):
            if _open(edit.start, hidden):
                yield edit
    for match in _ELEMENT.finditer(text):
        if match.group(1) == "input":
            yield Edit("page: element out", match.start(), match.end(), "")


def _numbers(inside: str, start: int) -> Iterator[Edit]:
    for match in _PAGE_NUMBER.finditer(inside):
        for edit in _moved("page: figure", match):
            yield Edit(edit.kind, edit.start + start, edit.end + start, edit.new)


# ---- both --------------------------------------------------------------------------------------
def _sides(text: str, hidden: list[tuple[int, int]]) -> Iterator[Edit]:
    for match in _SIDE.finditer(text):
        if _open(match.start(), hidden):
            yield Edit("side", match.start(), match.end(), "right" if match.group() == "left" else "left")


def _words(text: str, hidden: list[tuple[int, int]], offset: int = 0) -> Iterator[Edit]:
    """Comparisons, joints, ``not`` and flags."""
    for pattern, turned in (
        (_COMPARISON, _TURNED),
        (_JOINT, {"and": "or", "or": "and"}),
        (_NOT, None),
        (_FLAG, {"true": "false", "false": "true"}),
    ):
        for match in pattern.finditer(text):
            if _open(match.start(), hidden):
                new = turned[match.group()] if turned else ""
                yield Edit("drawn: condition", match.start() + offset, match.end() + offset, new)


def _moved(kind: str, match: re.Match[str]) -> Iterator[Edit]:
    whole, point, rest = match.group(1).partition(".")
    for by in (1, -1):
        moved = int(whole + rest) + by
        new = f"{moved / 10 ** len(rest):.{len(rest)}f}" if point else str(moved)
        yield Edit(kind, match.start(1), match.end(1), new if moved >= 0 else f"({new})")


def _open(place: int, hidden: list[tuple[int, int]]) -> bool:
    return not any(start <= place < end for start, end in hidden)
