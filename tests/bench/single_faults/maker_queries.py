"""Faults in queries: each condition dropped, each order dropped, each filter's joint exchanged."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from single_faults.fault import Edit
from single_faults.python_places import Source, source_of

_CONDITIONS = frozenset({"where", "filter", "having"})
_ORDERS = frozenset({"order_by", "distinct", "limit"})
_GROUPS = frozenset({"and_", "or_"})


def edits(text: str) -> Iterator[Edit]:
    if not re.search(r"\.(where|filter|having|order_by|distinct|limit)\(", text):
        return
    source = source_of(text)
    for node, within in source.nodes:
        if not isinstance(node, ast.Call):
            continue
        if isinstance(node.func, ast.Attribute) and node.func.attr in _CONDITIONS | _GROUPS:
            yield from _each_out(source, node, within)
        elif isinstance(node.func, ast.Name) and node.func.id in _GROUPS:
            yield from _each_out(source, node, within)
            new = "or_" if node.func.id == "and_" else "and_"
            yield Edit("query joint", source.start(node.func), source.end(node.func), new, within)
        elif isinstance(node.func, ast.Attribute) and node.func.attr in _ORDERS:
            yield Edit("query order out", source.end(node.func.value), source.end(node), "", within)
    for node, within in source.nodes:
        if (
            isinstance(node, ast.BinOp)
            and isinstance(node.op, ast.BitAnd | ast.BitOr)
            and _in_query(source, node)
        ):
            left, right = source.around(node.left), source.around(node.right)
            yield Edit("query condition out", left[0], right[0], "", within)
            yield Edit("query condition out", left[1], right[1], "", within)


def _each_out(source: Source, node: ast.Call, within: str) -> Iterator[Edit]:
    """Each condition of a call taken out with the comma that goes with it."""
    places = [(source.start(part), source.end(part)) for part in node.args]
    for number, (start, end) in enumerate(places):
        if number + 1 < len(places):
            yield Edit("query condition out", start, places[number + 1][0], "", within)
        else:
            yield Edit("query condition out", places[number - 1][1] if number else start, end, "", within)


def _in_query(source: Source, node: ast.AST) -> bool:
    above = source.parents.get(node)
    while above is not None and isinstance(above, ast.expr):
        if (
            isinstance(above, ast.Call)
            and isinstance(above.func, ast.Attribute)
            and above.func.attr in _CONDITIONS
        ):
            return True
        above = source.parents.get(above)
    return False
