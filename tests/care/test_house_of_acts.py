"""What the clinic does is done in one room: no page and no route for programs opens a write of the store."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import followup.care
import followup.desks

DESKS = Path(followup.desks.__file__).parent
CARE = Path(followup.care.__file__).parent


def _writes(text: str) -> Iterator[int]:
    """The lines at which a text of the program names the ``write`` of a store."""
    for node in ast.walk(ast.parse(text)):
        named = isinstance(node, ast.Attribute) and node.attr == "write"
        if named and ast.unparse(node.value).rpartition(".")[2].endswith("store"):
            yield node.lineno


def test_a_write_of_the_store_is_found_however_it_is_written():
    said = ["with hand.store.write(a, b) as unit: pass", "write = store.write", "f(desk.store.write)"]
    assert [list(_writes(line)) for line in said] == [[1], [1], [1]]
    assert not list(_writes("with hand.store.read() as session: file.write('store')"))


def test_no_page_and_no_route_for_programs_writes_to_the_store():
    files = {path.relative_to(DESKS).as_posix(): path.read_text("utf-8") for path in DESKS.rglob("*.py")}
    assert len(files) > 50
    assert {name: lines for name, text in files.items() if (lines := list(_writes(text)))} == {}


def test_the_acts_themselves_are_where_the_writes_are():
    assert [path.name for path in CARE.glob("*.py") if list(_writes(path.read_text("utf-8")))]
