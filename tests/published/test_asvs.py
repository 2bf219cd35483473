"""OWASP Application Security Verification Standard 5.0.0: every requirement of levels 1 and 2 has its answer.

The numbers are those of the published table (May 2025): by section, those up to level 2, which come first in
each. What the table of ours says is shown by tests that exist.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from print_asvs import requirements, summary, whole

TESTS = Path(__file__).resolve().parents[1]
ROOT = TESTS.parent
# Section and the number of its last requirement up to level 2; of those before it none is of level 3.
UP_TO_LEVEL_2 = (
    *("V1.1.2", "V1.2.9", "V1.3.11", "V1.4.3", "V1.5.2", "V2.1.3", "V2.2.3", "V2.3.4", "V2.4.1"),
    *("V3.2.2", "V3.3.4", "V3.4.6", "V3.5.5", "V3.7.2", "V4.1.3", "V4.2.1", "V4.3.2", "V4.4.4"),
    *("V5.1.1", "V5.2.3", "V5.3.2", "V5.4.3", "V6.1.3", "V6.2.12", "V6.3.4", "V6.4.4", "V6.5.5"),
    *("V6.6.3", "V6.8.4", "V7.1.3", "V7.2.4", "V7.3.2", "V7.4.5", "V7.5.2", "V7.6.2", "V8.1.2"),
    *("V8.2.3", "V8.3.1", "V8.4.1", "V9.1.3", "V9.2.4", "V10.1.2", "V10.2.2", "V10.3.4", "V10.4.11"),
    *("V10.5.5", "V10.6.2", "V10.7.3", "V11.1.2", "V11.2.3", "V11.3.3", "V11.4.4", "V11.5.1", "V11.6.1"),
    *("V12.1.3", "V12.2.2", "V12.3.4", "V13.1.1", "V13.2.5", "V13.3.2", "V13.4.5", "V14.1.2", "V14.2.4"),
    *("V14.3.3", "V15.1.3", "V15.2.3", "V15.3.7", "V16.1.1", "V16.2.5", "V16.3.4", "V16.4.3", "V16.5.3"),
    *("V17.1.1", "V17.2.4", "V17.3.2"),
)
PYTHON = sorted((ROOT / "followup").rglob("*.py"))
PAGES = sorted((ROOT / "templates" / "desks").glob("*.html"))


def test_every_requirement_of_levels_1_and_2_stands_in_the_table_once():
    asked = []
    for last in UP_TO_LEVEL_2:
        section, _, number = last.rpartition(".")
        asked += [f"{section}.{one}" for one in range(1, int(number) + 1)]
    # 70 of level 1 and 183 of level 2.
    assert len(asked) == 70 + 183
    assert [one.number for one in requirements()] == asked


@pytest.mark.parametrize("one", requirements(), ids=lambda one: one.number)
def test_what_is_covered_names_tests_that_exist_and_the_rest_a_reason(one):
    assert one.state in ("covered", "missing", "not applicable")
    assert one.asks
    if one.state != "covered":
        assert one.shown_by
        assert "::" not in one.shown_by
        return
    for named in one.shown_by.split():
        file, _, test = named.partition("::")
        source = (TESTS / file).read_text("utf-8")
        assert re.search(rf"^\s*def {test}\b" if test else r"^\s*def test_", source, re.MULTILINE), named


def test_the_printed_table_begins_with_what_is_missing_and_names_all():
    told, rows = summary(), whole()
    assert len(told) - 2 == sum(one.state == "missing" for one in requirements()) > 0
    assert len(rows) - 2 == len(requirements())


def _calls(tree: ast.AST) -> set[str]:
    """Every function that is called, as it is written."""
    return {ast.unparse(node.func) for node in ast.walk(tree) if isinstance(node, ast.Call)}


def test_no_code_is_run_that_was_read_and_nothing_is_unpickled():
    """1.3.2, 1.5.2, 1.2.5: no code from a text, no objects from bytes, no command through a shell."""
    for path in PYTHON:
        tree = ast.parse(path.read_text("utf-8"))
        wrong = _calls(tree) & {"eval", "exec", "compile", "__import__", "os.system", "os.popen"}
        names = {
            alias.name.partition(".")[0]
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            for alias in node.names
        } | {(node.module or "") for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        wrong |= names & {"pickle", "marshal", "shelve", "dill", "xml", "yaml", "telnetlib"}
        shells = [
            node
            for node in ast.walk(tree)
            if isinstance(node, ast.keyword) and node.arg == "shell" and ast.unparse(node.value) != "False"
        ]
        assert (wrong, shells) == (set(), []), path


def test_no_weak_hash_and_no_guessable_random_number_guards_anything():
    """11.4.1, 11.5.1: SHA-256 and secrets; ``random`` makes the invented sample clinic alone."""
    for path in PYTHON:
        source = path.read_text("utf-8")
        assert not re.search(r"\b(md5|sha1|uuid1)\b", source), path
        if "demo" not in path.parts:
            assert not re.search(r"^(import random|from random)\b", source, re.MULTILINE), path


def test_every_box_for_a_password_hides_it_and_lets_a_keeper_of_passwords_fill_it():
    """6.2.6 and 6.2.7: its kind, the word by which keepers know it, and nothing against pasting."""
    boxes = [
        box
        for page in PAGES
        for box in re.findall(r"<input\b(?:[^>\"]|\"[^\"]*\")*>", page.read_text("utf-8"))
        if 'type="password"' in box or re.search(r'name="(?:password|old|new)"', box)
    ]
    assert len(boxes) >= 9
    for box in boxes:
        assert 'type="password"' in box, box
        assert re.search(r'autocomplete="(?:current|new)-password"', box), box
        assert not re.search(r"maxlength|pattern=|onpaste|readonly", box), box


def test_every_page_of_somebody_who_is_logged_in_has_the_way_out():
    """7.4.4."""
    base = (ROOT / "templates" / "desks" / "base.html").read_text("utf-8")
    assert '<form method="post" action="/log-out">' in base
    alone = [page.name for page in PAGES if "<html" in page.read_text("utf-8")]
    assert alone == ["base.html"], "a page that does not stand in the frame has no way out"


def test_scripts_keep_nothing_in_the_browser():
    """14.3.3."""
    for script in (ROOT / "templates" / "static").glob("*.js"):
        kept = re.findall(
            r"localStorage|sessionStorage|indexedDB|document\.cookie|caches\.", script.read_text()
        )
        assert kept == [], script
