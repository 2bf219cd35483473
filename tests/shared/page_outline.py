"""A page as lines that can be read and compared: what stands on it, where it leads, what it posts.

Every element with all that it says of itself stands in the outline, the words as a browser shows them; only
what draws nothing is left out. What is typed and let through unescaped shows as an element of its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from html.parser import HTMLParser

# Elements that only stand in the middle of a sentence.
_INLINE = frozenset({"a", "abbr", "b", "bdi", "br", "code", "em", "i", "small", "span", "strong", "u"})
_EMPTY = frozenset({"area", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"})
_DRAWN = frozenset({"circle", "ellipse", "g", "line", "path", "pattern", "polyline", "rect", "svg", "text"})
# What holds others and says nothing by itself.
_BARE = frozenset({"body", "defs", "head", "tbody", "thead"})


def outline(html: str, tidy: Callable[[str], str] = str) -> list[str]:
    """The page's lines. ``tidy`` takes what is new each time out of a value."""
    reader = _Reader(tidy)
    reader.feed(html)
    reader.close()
    reader.end_line()
    return reader.lines


class _Reader(HTMLParser):
    def __init__(self, tidy: Callable[[str], str]) -> None:
        super().__init__(convert_charrefs=True)
        self.tidy = tidy
        self.lines: list[str] = []
        self._open: list[str] = []
        self._head = ""
        self._said: list[str] = []
        self._options: list[str] | None = None
        self._raw = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "option" and self._options is not None:
            self._options.append("*" if any(name == "selected" for name, _ in attrs) else "")
            self._options[-1] += _told({k: v for k, v in attrs if k != "selected"}, self.tidy).strip()
            self._options[-1] += " "
            return
        told = _told(dict(attrs), self.tidy)
        if tag in _INLINE:
            if tag == "br":
                self._said.append(" / ")
            elif tag in ("span", "bdi") and not told:
                self._open.append(f"{tag} bare")
                return
            else:
                self._said.append(f"{{{tag}{told} ")
        else:
            self.end_line()
            self._head = "" if tag in _BARE and not told else f"{tag}{told}"
            if tag in ("select", "datalist"):
                self._options = []
        if tag in ("style", "script"):
            self._raw = tag
        if tag not in _EMPTY:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in _EMPTY:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag == "option" and self._options is not None:
            return
        bare = f"{tag} bare"
        if self._open and self._open[-1] == bare:
            self._open.pop()
            return
        if tag not in self._open:
            self._said.append(f"{{/{tag} without a beginning}}")
            return
        while self._open and self._open.pop() != tag:
            pass
        if tag in ("select", "datalist") and self._options is not None:
            self._said.append(" | ".join(" ".join(one.split()) for one in self._options))
            self._options = None
        if tag in _INLINE:
            self._said.append("}")
            return
        self.end_line()
        self._raw = ""

    def handle_data(self, data: str) -> None:
        if self._options:
            self._options[-1] += data
        else:
            self._said.append(data)

    def handle_comment(self, data: str) -> None:
        self._said.append(f"{{comment {data}}}")

    def end_line(self) -> None:
        said = "".join(self._said)
        rows = [said] if not self._raw else said.splitlines()
        words = [self.tidy(" ".join(row.split())) for row in rows if row.strip()]
        depth = "  " * sum(one in _NESTING for one in self._open[:-1])
        if self._head or words:
            self.lines.append(f"{depth}{': '.join(part for part in (self._head, *words[:1]) if part)}")
            self.lines += [f"{depth}  {row}" for row in words[1:]]
        self._head, self._said = "", []


_NESTING = frozenset(
    {"form", "fieldset", "section", "details", "table", "ul", "ol", "dl", "article", "aside", "svg", "select"}
)


def _told(attrs: dict[str, str | None], tidy: Callable[[str], str]) -> str:
    """The class as in CSS, every other attribute by its name."""
    words = "".join(f".{one}" for one in (attrs.pop("class", "") or "").split())
    for name, value in attrs.items():
        said = name if value is None else f"{name}={_quoted(tidy(value))}"
        words += f" {said}"
    return words


def _quoted(value: str) -> str:
    value = " ".join(value.split(" ")).replace("\n", "⏎")
    return value if re.fullmatch(r"[^\s\"'{}<>]+", value) else f'"{value}"'
