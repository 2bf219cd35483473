"""A Python file as a tree with places in the text, and what is never changed in it."""

from __future__ import annotations

import ast
import re
from functools import cached_property, lru_cache

_OPENING = re.compile(r"\(\s*\Z")
_CLOSING = re.compile(r"\s*\)")
# Calls whose arguments are only read by people who mend programs.
_TOLD = frozenset({"warning", "info", "debug", "exception"})
# Settings that change how fast something is, or how a slip of the programmer is reported.
_HARMLESS = frozenset({"strict", "index", "stacklevel"})
_NOT_RUN = frozenset({"annotation", "returns", "decorator_list", "type_params"})
_BARE = (ast.expr_context, ast.operator, ast.boolop, ast.unaryop, ast.cmpop)


class Source:
    """The text, its tree, and where each node stands."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.tree = ast.parse(text)
        self._lines = [0]
        self._rows = text.splitlines(keepends=True)
        for row in self._rows:
            self._lines.append(self._lines[-1] + len(row))
        self._plain = text.isascii()

    def start(self, node: ast.expr | ast.stmt | ast.arg) -> int:
        return self._place(node.lineno, node.col_offset)

    def end(self, node: ast.expr | ast.stmt | ast.arg) -> int:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self._place(node.end_lineno, node.end_col_offset)

    def written(self, node: ast.expr | ast.stmt) -> str:
        return self.text[self.start(node) : self.end(node)]

    def _place(self, line: int, column: int) -> int:
        row = self._rows[line - 1]
        inside = column if self._plain or row.isascii() else len(row.encode()[:column].decode())
        return self._lines[line - 1] + inside

    @cached_property
    def parents(self) -> dict[ast.AST, ast.AST]:
        return {child: node for node in ast.walk(self.tree) for child in ast.iter_child_nodes(node)}

    def around(self, node: ast.expr) -> tuple[int, int]:
        """A node's place with the parentheses around it alone."""
        start, end = self.start(node), self.end(node)
        while True:
            before = _OPENING.search(self.text, max(0, start - 200), start)
            after = _CLOSING.match(self.text, end)
            if not (before and after) or self._belongs_above(node, before.start()):
                return start, end
            start, end = before.start(), after.end()

    def _belongs_above(self, node: ast.expr, opening: int) -> bool:
        """Whether the bracket belongs to what stands around the node, not to the node."""
        parent = self.parents[node]
        if not isinstance(parent, ast.expr):
            return False
        if isinstance(parent, ast.Call) and opening >= self.end(parent.func):
            return True
        return opening < self.start(parent)

    @cached_property
    def nodes(self) -> list[tuple[ast.AST, str]]:
        """Every node that does something when the program runs, with the functions and classes around it.

        No annotations and no docstrings; nor what stands in an f-string: Python 3.11 knows no place of it.
        """
        found: list[tuple[ast.AST, str]] = []
        self._alive(self.tree, "", found)
        return found

    def _alive(self, node: ast.AST, within: str, found: list[tuple[ast.AST, str]]) -> None:
        found.append((node, within))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            within = f"{within}.{node.name}" if within else node.name
        for name in node._fields:
            if name in _NOT_RUN:
                continue
            value = getattr(node, name, None)
            for child in value if isinstance(value, list) else (value,):
                if isinstance(child, ast.AST) and not isinstance(child, _BARE) and not _idle(child):
                    self._alive(child, within, found)


@lru_cache(maxsize=4)
def source_of(text: str) -> Source:
    return Source(text)


def _idle(node: ast.AST) -> bool:
    if isinstance(node, ast.JoinedStr):
        return True
    if isinstance(node, ast.keyword) and node.arg in _HARMLESS:
        return True
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
        return True
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in _TOLD
