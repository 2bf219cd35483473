"""Faults in who may do what: each role taken from each entry of the doors' table and from each use case that
asks for one, and each other role added."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from typing import Any

from single_faults.fault import Edit
from single_faults.python_places import Source, source_of

ROLES = ("counsellor", "reception", "surgeon", "pharmacy", "manager")
ASKS = frozenset({"need_role"})
_PLAIN = (ast.Constant, ast.Name, ast.Tuple, ast.Set, ast.BinOp, ast.Call)


def edits(text: str, duties: str) -> Iterator[Edit]:
    """``duties`` is the text of the module that names the roles of the use cases."""
    if not any(role in text for role in (*ROLES, *ASKS)):
        return
    source = source_of(text)
    known = {**_duties(duties), **_constants(source.tree)}
    for node, within in source.nodes:
        if isinstance(node, ast.Dict):
            for key, value in zip(node.keys, node.values, strict=True):
                if isinstance(key, ast.Tuple):
                    yield from _turned(source, value, known, source.written(key))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in ASKS:
            yield from _asked(source, node, known, within)
        elif isinstance(node, ast.Set) and (held := _value(node, known)) and set(held) <= set(ROLES):
            yield from _turned(source, node, known, within)


@cache
def _duties(text: str) -> dict[str, Any]:
    return _constants(ast.parse(text))


def _turned(source: Source, value: ast.expr, known: dict[str, Any], within: str) -> Iterator[Edit]:
    held = _value(value, known)
    if not held or not set(held) & set(ROLES):
        return
    start, end, written = source.start(value), source.end(value), source.written(value)
    for role in ROLES:
        if role in held:
            yield Edit("role out", start, end, f'({written} - {{"{role}"}})', within)
        else:
            yield Edit("role added", start, end, f'({written} | {{"{role}"}})', within)
    if "anonymous" not in held and not isinstance(value, ast.Set):
        yield Edit("role added", start, end, f'({written} | {{"anonymous"}})', within)


def _asked(source: Source, node: ast.Call, known: dict[str, Any], within: str) -> Iterator[Edit]:
    """A use case that asks for a role: ``need_role(*CLINICAL, PROGRAM)``."""
    held: list[str] = []
    for part in node.args:
        found = _value(part.value if isinstance(part, ast.Starred) else part, known)
        if found is None:
            return
        held += [found] if isinstance(found, str) else found
    start, end = source.start(node.args[0]), source.end(node.args[-1])
    written = source.text[start:end]
    for role in ROLES:
        if role in held:
            yield Edit("role out", start, end, f'*(r for r in ({written},) if r != "{role}")', within)
        else:
            yield Edit("role added", start, end, f'{written}, "{role}"', within)
    # An expression statement goes as a whole; nothing is asked then.
    yield Edit("role not asked", source.start(node), source.end(node), "None", within)


def _constants(tree: ast.Module) -> dict[str, Any]:
    """What the module's own plain assignments hold."""
    known: dict[str, Any] = {}
    for node in tree.body:
        value = node.value if isinstance(node, ast.Assign | ast.AnnAssign) else None
        targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
        if value is None:
            continue
        found = _value(value, known)
        if found is None:
            continue
        for target in targets:
            if isinstance(target, ast.Name):
                known[target.id] = found
            elif isinstance(target, ast.Tuple) and len(target.elts) == len(found):
                known.update((one.id, part) for one, part in zip(target.elts, found, strict=True))
    return known


def _value(node: ast.expr, known: dict[str, Any]) -> Any:
    """The value of a plain expression; None for anything else."""
    if not isinstance(node, _PLAIN):
        return None
    try:
        code = compile(ast.Expression(node), "constant", "eval")
        return eval(code, {"__builtins__": {"frozenset": frozenset}}, dict(known))
    except Exception:
        return None
