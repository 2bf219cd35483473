"""Faults in Python: comparisons turned, conditions dropped, and/or exchanged, numbers one up and one down."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator

from single_faults.fault import Edit
from single_faults.python_places import Source, source_of

_TURNED: dict[type[ast.cmpop], tuple[str, str]] = {
    ast.Lt: ("<", "<="),
    ast.LtE: ("<=", "<"),
    ast.Gt: (">", ">="),
    ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="),
    ast.In: ("in", "not in"),
    ast.NotIn: (r"not\s+in", "in"),
    ast.Is: ("is", "is not"),
    ast.IsNot: (r"is\s+not", "is"),
}
_CHOOSING = frozenset({"key", "reverse", "default"})
_EXCHANGED = {"min": "max", "max": "min", "all": "any", "any": "all"}


def edits(text: str) -> Iterator[Edit]:
    source = source_of(text)
    for node, within in source.nodes:
        for kind, make in _MAKERS.get(type(node), ()):
            for start, end, new in make(source, node):
                yield Edit(kind, start, end, new, within)


Change = tuple[int, int, str]


def _comparison(source: Source, node: ast.AST) -> Iterator[Change]:
    if not isinstance(node, ast.Compare):
        return
    sides = [node.left, *node.comparators]
    for number, operator in enumerate(node.ops):
        old, new = _TURNED[type(operator)]
        found = re.compile(old).search(
            source.text, source.end(sides[number]), source.start(sides[number + 1])
        )
        assert found, f"no {old} in {source.written(node)}"
        yield found.start(), found.end(), new


def _joint(source: Source, node: ast.AST) -> Iterator[Change]:
    """``and`` and ``or`` exchanged, each on its own."""
    if not isinstance(node, ast.BoolOp):
        return
    old, new = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
    for left, right in zip(node.values, node.values[1:], strict=False):
        found = re.compile(rf"\b{old}\b").search(source.text, source.end(left), source.start(right))
        assert found, f"no {old} in {source.written(node)}"
        yield found.start(), found.end(), new


def _condition_out(source: Source, node: ast.AST) -> Iterator[Change]:
    """One of several conditions dropped."""
    if isinstance(node, ast.BoolOp):
        last = len(node.values) - 1
        for number in range(last + 1):
            if number < last:
                yield source.around(node.values[number])[0], source.around(node.values[number + 1])[0], ""
            else:
                yield source.around(node.values[number - 1])[1], source.around(node.values[number])[1], ""
    elif isinstance(node, ast.comprehension):
        for test in node.ifs:
            start, end = source.around(test)
            yield start, end, "True"


def _not_dropped(source: Source, node: ast.AST) -> Iterator[Change]:
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield source.start(node), source.start(node) + len("not"), ""


def _test_turned(source: Source, node: ast.AST) -> Iterator[Change]:
    """A plain condition, without comparison, joint or ``not``, turned."""
    tests: list[ast.expr] = []
    if isinstance(node, ast.If | ast.While | ast.IfExp):
        tests = [node.test]
    elif isinstance(node, ast.comprehension):
        tests = list(node.ifs)
    elif isinstance(node, ast.BoolOp):
        tests = [value for value in node.values if isinstance(value, ast.Name | ast.Attribute | ast.Call)]
    for test in tests:
        if isinstance(test, ast.Name | ast.Attribute | ast.Call | ast.Subscript):
            yield source.start(test), source.end(test), f"(not {source.written(test)})"


def _number(source: Source, node: ast.AST) -> Iterator[Change]:
    if not isinstance(node, ast.Constant) or isinstance(node.value, bool):
        return
    if not isinstance(node.value, int | float):
        return
    written = source.written(node)
    if isinstance(node.value, float):
        digits = written.replace("_", "").partition(".")[2]
        if not digits.isdigit():
            return
        step = 10 ** -len(digits)
        yield source.start(node), source.end(node), f"{node.value + step:.{len(digits)}f}"
        yield source.start(node), source.end(node), f"{node.value - step:.{len(digits)}f}"
        return
    for by in (1, -1):
        moved = str(node.value + by)
        yield source.start(node), source.end(node), moved if node.value + by >= 0 else f"({moved})"


def _flag(source: Source, node: ast.AST) -> Iterator[Change]:
    if isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield source.start(node), source.end(node), str(not node.value)


def _extreme(source: Source, node: ast.AST) -> Iterator[Change]:
    """``min`` and ``max``, ``any`` and ``all`` exchanged."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _EXCHANGED:
        yield source.start(node.func), source.end(node.func), _EXCHANGED[node.func.id]


def _sum(source: Source, node: ast.AST) -> Iterator[Change]:
    """Plus and minus exchanged, where no text is put together."""
    if not isinstance(node, ast.BinOp) or not isinstance(node.op, ast.Add | ast.Sub):
        return
    if any(isinstance(part, ast.JoinedStr) or _is_text(part) for part in (node.left, node.right)):
        return
    old, new = ("+", "-") if isinstance(node.op, ast.Add) else ("-", "+")
    start = source.text.index(old, source.end(node.left))
    yield start, start + 1, new


def _is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def _argument_out(source: Source, node: ast.AST) -> Iterator[Change]:
    """How something is sorted, and what stands for nothing, dropped."""
    if not isinstance(node, ast.Call):
        return
    for keyword in node.keywords:
        if keyword.arg in _CHOOSING:
            start = source.text.rindex(keyword.arg, 0, source.start(keyword.value))
            end = re.compile(r"\s*,?\s*").match(source.text, source.end(keyword.value))
            assert end
            yield start, end.end(), ""


def _step_out(source: Source, node: ast.AST) -> Iterator[Change]:
    """A step left out: a call whose result nobody wants, mostly a check or something stored."""
    unwanted = isinstance(node, ast.Expr) and isinstance(node.value, ast.Call | ast.Await)
    if unwanted or isinstance(node, ast.Raise):
        yield source.start(node), source.end(node), "pass"


Maker = Callable[[Source, ast.AST], Iterator[Change]]


_BY_KIND: tuple[tuple[str, Maker, tuple[type[ast.AST], ...]], ...] = (
    ("comparison", _comparison, (ast.Compare,)),
    ("joint", _joint, (ast.BoolOp,)),
    ("condition out", _condition_out, (ast.BoolOp, ast.comprehension)),
    ("not out", _not_dropped, (ast.UnaryOp,)),
    ("test turned", _test_turned, (ast.If, ast.While, ast.IfExp, ast.comprehension, ast.BoolOp)),
    ("number", _number, (ast.Constant,)),
    ("flag in code", _flag, (ast.Constant,)),
    ("extreme", _extreme, (ast.Call,)),
    ("sum", _sum, (ast.BinOp,)),
    ("argument out", _argument_out, (ast.Call,)),
    ("step out", _step_out, (ast.Expr, ast.Raise)),
)
_MAKERS: dict[type[ast.AST], list[tuple[str, Maker]]] = {}
for _kind, _make, _types in _BY_KIND:
    for _type in _types:
        _MAKERS.setdefault(_type, []).append((_kind, _make))
