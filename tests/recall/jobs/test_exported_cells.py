"""No cell of a list that goes out begins like a formula, and what goes out comes back as it was."""

from __future__ import annotations

import csv
import io
from dataclasses import fields, is_dataclass
from datetime import date
from typing import get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.cells import guarded, unguarded
from followup.recall.jobs.lists import DueLine, ReachLine, as_csv
from followup.recall.jobs.pharmacy import BottleLine
from followup.recall.messages.calls import CallLine

# OWASP, CSV Injection: the characters by which a spreadsheet takes a cell for a formula, with the
# full-width forms that some take for them.
SIGNS = ["=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20"]
LISTS = [DueLine, ReachLine, CallLine, BottleLine]
TYPED = st.text(st.sampled_from([*SIGNS, "'", '"', " ", "\u00a0", ",", ";", "1", "a", "आ", "ع"]), max_size=6)


def _begins_like_a_formula(cell: str) -> bool:
    return cell.lstrip(' \u00a0"\t\r\n').startswith(tuple(SIGNS)) or cell.startswith(("\t", "\r", "\n"))


@pytest.mark.parametrize("before", ["", " ", "\u00a0", '"', '" ', "\ufeff"])
@pytest.mark.parametrize("sign", SIGNS)
def test_owasp_a_cell_that_begins_with_one_of_the_signs_gets_an_apostrophe(sign, before):
    typed = f"{before}{sign}HYPERLINK(1)"
    assert guarded(typed) == f"'{typed}"
    assert unguarded(guarded(typed)) == typed
    # Once more out of a table that came back unread.
    assert unguarded(unguarded(guarded(guarded(typed)))) == typed


@pytest.mark.parametrize(
    "typed", ["", "K-1", "own: +44 20 7946 0101", "1=1", "O'Neil", "'tis", "a\t=1", "–", "१ मार्च"]
)
def test_a_cell_that_no_spreadsheet_runs_goes_out_as_it_is(typed):
    assert guarded(typed) == unguarded(typed) == typed


@given(TYPED)
def test_whatever_was_typed_comes_back_as_it_was(typed):
    assert unguarded(guarded(typed)) == typed
    assert not _begins_like_a_formula(guarded(typed))


def _line(kind, text):
    """A line with ``text`` wherever a person may have typed something."""
    assert is_dataclass(kind)
    made = {
        str: text, int: 1, date: date(2027, 3, 8), tuple[str, ...]: (text, text), date | None: None,
    }  # fmt: skip
    hints = get_type_hints(kind)
    return kind(**{field.name: made.get(hints[field.name], ("right",)) for field in fields(kind)})


@pytest.mark.parametrize("kind", LISTS)
@given(TYPED)
def test_no_cell_of_a_list_begins_like_a_formula_and_each_reads_back(kind, typed):
    text = as_csv(kind, [_line(kind, typed)])
    head, cells = csv.reader(io.StringIO(text, newline=""), strict=True)
    assert head == [field.name for field in fields(kind)]
    hints = get_type_hints(kind)
    for name, cell in zip(head, cells, strict=True):
        for piece in cell.split("; ") if "; " not in typed else [cell]:
            assert not _begins_like_a_formula(piece), f"{name} of {kind.__name__}: {cell!r}"
        if hints[name] is str:
            assert unguarded(cell) == typed
        if hints[name] == tuple[str, ...]:
            assert cell == f"{guarded(typed)}; {guarded(typed)}"


def test_what_is_not_recorded_is_an_empty_cell():
    text = as_csv(ReachLine, [_line(ReachLine, "x")])
    (line,) = csv.DictReader(io.StringIO(text))
    assert (line["last_day"], line["since"], line["days"]) == ("", "2027-03-08", "1")
