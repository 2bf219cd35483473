"""Nobody computes a masked number from what is shown: asked of a solver that knows nothing of the masking."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from followup.exchange.audit.masking import MaskedCell, masked_line, masked_table

FEW = 10
MOST = 400
SMALL = st.one_of(st.integers(0, 14), st.integers(0, MOST // 4))
ROWS = st.lists(st.tuples(SMALL, SMALL, SMALL), min_size=1, max_size=4)


def _can_be_another(cells, sums, place, count):
    """Whether the place can be another number than it is, for whoever reads the cells and knows the sums."""
    model = cp_model.CpModel()
    known = {}
    for at, cell in cells.items():
        low, high = (1, FEW - 1) if cell.why == "few" else (0, 20 * MOST)
        low, high = (low, high) if cell.count is None else (cell.count, cell.count)
        known[at] = model.new_int_var(low, high, str(at))
    for *parts, total in sums:
        model.add(sum(known[at] for at in parts) == known[total])
    model.add(known[place] != count)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    return solver.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)


def _checked(cells, sums, counts):
    for place, cell in cells.items():
        if 0 < counts[place] < FEW:
            assert cell.count is None
            assert _can_be_another(cells, sums, place, counts[place]), f"{place} can be computed: {cells}"
        elif cell.count is not None:
            assert cell.count == counts[place]


@given(st.lists(SMALL, min_size=2, max_size=4))
@settings(max_examples=40, deadline=None)
def test_no_masked_part_of_a_sum_can_be_computed(parts):
    cells = dict(enumerate(masked_line(parts, FEW)))
    _checked(cells, [list(cells)], [*parts, sum(parts)])


@given(ROWS)
@settings(max_examples=40, deadline=None)
def test_no_masked_cell_of_a_table_can_be_computed_from_its_sums(rows):
    totals = [sum(column) for column in zip(*rows, strict=True)]
    total = masked_line(totals, FEW)
    table = (*masked_table(rows, total, FEW), total)
    counts = [[*row, sum(row)] for row in [*rows, totals]]
    cells = {(r, c): cell for r, line in enumerate(table) for c, cell in enumerate(line)}
    sums = [[(r, c) for c in range(4)] for r in range(len(table))]
    if len(rows) > 1:
        sums += [[(r, c) for r in range(len(table))] for c in range(4)]
    _checked(cells, sums, {(r, c): counts[r][c] for r, c in cells})


def test_what_need_not_be_masked_is_shown():
    assert [cell.count for cell in masked_line([40, 0, 60], FEW)] == [40, 0, 60, 100]
    total = masked_line([90, 30, 20], FEW)
    rows = masked_table([(50, 10, 10), (40, 20, 10)], total, FEW)
    assert [[cell.count for cell in row] for row in rows] == [[50, 10, 10, 70], [40, 20, 10, 70]]


def test_one_small_part_takes_the_next_smallest_with_it():
    assert masked_line([300, 40, 4], FEW) == (
        MaskedCell(300),
        MaskedCell(None, "withheld"),
        MaskedCell(None, "few"),
        MaskedCell(344),
    )


def test_where_the_sum_tells_small_parts_one_is_not_even_told_to_be_few():
    # One and one: two people, and neither is nought. One and nobody: one who is in neither for sure.
    assert [cell.why for cell in masked_line([30, 1, 1], FEW)] == ["", "withheld", "few", ""]
    assert [cell.why for cell in masked_line([30, 0, 1], FEW)] == ["", "withheld", "withheld", ""]


def test_a_group_alone_is_all_there_are():
    total = masked_line([30, 12, 3], FEW)
    assert masked_table([(30, 12, 3)], total, FEW) == (total,)
