"""What a plan costs, and its two searches beside an independent solver (OR-Tools CP-SAT) as they grow.

Run it by hand from the tree: ``PYTHONPATH=. python tests/bench/bench_plan.py [--limit 60]``. First every told
operation from record to plan, warm, in ms of CPU, with what of it the rounds and the trips take. Then rounds
of more bottles and phases and trips of more needs: ours with nothing remembered, and the solver on one core
with the models of ``tests/timing``, aim after aim, for at most ``--limit`` of its own seconds of work each;
where it proves its optimum that must be ours. Nothing else is judged.
"""

from __future__ import annotations

import argparse
import importlib.util
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "shared"))

from bench_trips import START, WEEK, eye
from ortools.sat.python import cp_model
from told_sheets import CASES, PROTOCOL, told

from followup.clinical.plan import build
from followup.timing.calendar import parse_calendar
from followup.timing.rounds import Phase, RoundBottle, plan_rounds
from followup.timing.rounds_search import _choices, _least_own_cost
from followup.timing.slotsets import slot_sets
from followup.timing.trips import plan_trips

TESTS = Path(__file__).resolve().parents[1]
RUNS = 15
SLOTS = 15


def _module(path: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        Path(path).stem + "_" + Path(path).parent.name, TESTS / path
    )
    assert spec
    assert spec.loader
    found = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = found
    spec.loader.exec_module(found)
    return found


def cpu(work: Callable[[], object]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


def plans() -> Iterator[str]:
    yield f"{'ms of CPU':14}{'plan':>8}{'of it rounds':>14}{'of it trips':>14}"
    whole: list[float] = []
    for case in CASES:
        record, spent = told(case).record, {"draft_rounds": [0.0], "draft_visits": [0.0]}
        taken = []
        kept = {name: getattr(build, name) for name in spent}
        for name, sums in spent.items():
            setattr(build, name, _timed(kept[name], sums))
        for _ in range(RUNS):
            began = time.process_time()
            build.build_plan(record, PROTOCOL, as_of=record.last_operation_day)
            taken.append(time.process_time() - began)
        for name, work in kept.items():
            setattr(build, name, work)
        middle, (rounds, trips) = statistics.median(taken), (sums[0] / RUNS for sums in spent.values())
        whole.append(middle - rounds - trips)
        yield f"{case:14}{1000 * middle:8.1f}{1000 * rounds:14.1f}{1000 * trips:14.1f}"
    yield f"without both: median {1000 * statistics.median(whole):.1f}, most {1000 * max(whole):.1f}"


def _timed(work: Callable[..., Any], sums: list[float]) -> Callable[..., Any]:
    def timed(*given: Any, **named: Any) -> Any:
        began = time.process_time()
        try:
            return work(*given, **named)
        finally:
            sums[0] += time.process_time() - began

    return timed


def _proved(model: cp_model.CpModel, aims: list[Any], limit: float) -> list[int] | None:
    """The least of each aim, one after the other; None where one is not proved in time."""
    found = []
    for aim in aims:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2
        solver.parameters.max_deterministic_time = limit  # of work, whatever else the computer does
        model.minimize(aim)
        if solver.solve(model) != cp_model.OPTIMAL:
            return None
        found.append(round(solver.objective_value))
        model.add(aim <= found[-1])
    return found


def rounds(limit: float) -> Iterator[str]:
    """Tapers that step down and begin one after the other."""
    solver = _module("timing/rounds/test_rounds_by_constraint_solver.py")
    choices = _module("timing/rounds/conftest.py").choices.__wrapped__()
    for bottles, phases in ((2, 3), (4, 4), (4, 8), (6, 8), (8, 12)):
        keys = "abcdefgh"[:bottles]
        counts = [{key: max(1, 4 - (n + i) // 2) for i, key in enumerate(keys)} for n in range(phases)]
        regimen = [Phase(7, counted) for counted in counts]
        of = [RoundBottle(key) for key in keys]

        def ours(regimen: list[Phase] = regimen, of: list[RoundBottle] = of) -> Any:
            for remembered in (slot_sets, _choices, _least_own_cost):
                remembered.cache_clear()
            return plan_rounds(SLOTS, regimen, of)

        plan, seconds = ours(), statistics.median(cpu(ours) for _ in range(5))
        table = SimpleNamespace(slots=SLOTS, phases=regimen, bottles=of, previous=None, price=100)
        began = time.process_time()
        model = solver.ByChoice(table, choices)
        proved = _proved(model.model, [model.rounds_days, model.cost], limit)
        other = time.process_time() - began
        assert proved is None or proved == [plan.rounds_days, plan.cost]
        yield _row(f"rounds: {bottles} bottles, {phases} phases", seconds, other, proved is not None)


def trips(limit: float) -> Iterator[str]:
    """More and more eyes of one plan, operated ten days apart: twelve needs each."""
    solver, instances = (
        _module(f"timing/trips/{name}.py") for name in ("test_constraint_solver", "conftest")
    )
    for eyes in (1, 2, 3, 5):
        each = [eye(f"eye {number}", 10 * number) for number in range(eyes)]
        needs, gaps = ([one for some in each for one in some[i]] for i in (0, 1))
        calendar = parse_calendar(WEEK)
        days = [START + timedelta(days=day) for day in range(125 + 10 * eyes)]

        def ours(needs: Any = needs, gaps: Any = gaps, calendar: Any = calendar) -> Any:
            return plan_trips(needs, gaps=gaps, calendar=calendar, horizon_start=START)

        plan, seconds = ours(), statistics.median(cpu(ours) for _ in range(5))
        began = time.process_time()
        model = solver.Model(instances.Instance(needs, days, calendar, gaps))
        proved = _proved(model.m, [sum(model.x), model.deviation()], limit)
        other = time.process_time() - began
        assert proved is None or proved == [plan.cost.trips, plan.cost.deviation]
        yield _row(f"trips: {len(needs)} needs, {len(days)} days", seconds, other, proved is not None)


def _row(said: str, ours: float, other: float, proved: bool) -> str:
    least = "" if proved else "no proof after "
    return f"{said:32}{1000 * ours:9.1f} ms   solver {least}{other:8.2f} s   {other / ours:8.0f} times"


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--limit", type=float, default=60.0, help="seconds for each aim of the solver")
    given: Any = parser.parse_args(arguments)
    for lines in (plans(), rounds(given.limit), trips(given.limit)):
        for line in lines:
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
