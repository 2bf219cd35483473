"""What a sheet costs beside the bare typesetter and an HTML-to-PDF engine; a batch on one core and two.

Run it by hand from the tree: ``PYTHONPATH=. python tests/bench/bench_paper.py [--rounds 3] [--batch 100]
[--languages en ar] [--cases 04-peter]``.
The HTML engine is WeasyPrint, of the extra ``bench``; without it its column stays empty. Every figure is CPU
time of a process of its own that has set another sheet before, so that neither side finds what the other
left behind. "Bare" is the same layout with the same data, handed to the typesetter once; WeasyPrint gets the
same content as our page for a phone, printed. Medians over the rounds with the spread of their ratios.
Nothing is judged.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "shared"))

from told_sheets import CASES, sheet, told

from followup.sheets.paper.batch import BatchSheet, render_batch
from followup.sheets.paper.pdf import laid_out
from followup.sheets.paper.typesetter import folders
from followup.sheets.paper.worker import DONE, SHEETS, _answer, compiler
from followup.sheets.phone import render_phone

TAGS = ("en", "bn", "ar", "ta")
SHOWN = ("07-grace", "08-rafiq", "01-wanjiru", "04-peter")  # from few drops to the fullest plan
WARM = ("11-fatuma", "fr")
MIXED = ("en", "fr", "hi", "bn", "ta", "ar")


class InProcess:
    """The typesetter without its child process, so that its CPU time is this one's."""

    def __init__(self) -> None:
        self.jobs: list[str] = []

    def typeset(self, job: dict[str, Any]) -> bytes:
        self.jobs.append(json.dumps(job, ensure_ascii=False))
        answer = _answer(compiler(SHEETS, *folders()), json.loads(self.jobs[-1]))
        assert answer[:1] == DONE
        return answer[1:]


def apart(work: Callable[..., Any], *given: Any) -> Any:
    """What ``work`` gives in a process of its own."""
    reader, writer = os.pipe()
    child = os.fork()
    if not child:
        with os.fdopen(writer, "w") as answer:
            json.dump(work(*given), answer)
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader) as answer:
        said = json.load(answer)
    os.waitpid(child, 0)
    return said


def jobs(case: str, tag: str) -> list[str]:
    """What the typesetter is handed for a sheet, once or twice; the last is how it comes out."""
    setter = InProcess()
    laid_out(sheet(case, tag), setter)  # type: ignore[arg-type]
    return setter.jobs


def ours(case: str, tag: str) -> float:
    """CPU seconds from the plan to the bytes."""
    laid_out(sheet(*WARM), InProcess())  # type: ignore[arg-type]
    began = time.process_time()
    laid_out(sheet(case, tag), InProcess())  # type: ignore[arg-type]
    return time.process_time() - began


def bare(job: str) -> float:
    laid_out(sheet(*WARM), InProcess())  # type: ignore[arg-type]
    data = json.loads(job)
    began = time.process_time()
    _answer(compiler(SHEETS, *folders()), data)
    return time.process_time() - began


def through_html(case: str, tag: str) -> float:
    try:
        from weasyprint import HTML
    except ImportError:
        return float("nan")
    HTML(string=render_phone(sheet(*WARM))).write_pdf()
    content = sheet(case, tag)
    began = time.process_time()
    HTML(string=render_phone(content)).write_pdf()
    return time.process_time() - began


def sheets(rounds: int, cases: Sequence[str], tags: Sequence[str]) -> Iterator[str]:
    yield f"{'ms of CPU':18}{'set':>4}{'ours':>8}{'bare':>8}{'HTML':>8}   ours:bare          HTML:ours"
    for case in cases:
        told(case)
        for tag in tags:
            handed = apart(jobs, case, tag)
            each = [
                (apart(ours, case, tag), apart(bare, handed[-1]), apart(through_html, case, tag))
                for _ in range(rounds)
            ]
            middle = "".join(f"{1000 * statistics.median(column):8.0f}" for column in zip(*each, strict=True))
            yield (
                f"{case:14} {tag:3}{len(handed):4}{middle}   {_ratios([one[0] / one[1] for one in each])}"
                f"   {_ratios([one[2] / one[0] for one in each])}"
            )


def _ratios(found: list[float]) -> str:
    return f"{statistics.median(found):5.2f} ({min(found):.2f}-{max(found):.2f})"


def batch(many: int) -> Iterator[str]:
    """Seconds on the clock: it says something only where nothing else runs."""
    cases = [case for case in CASES if case != "04-peter"]
    wanted = [(cases[i % len(cases)], MIXED[i % len(MIXED)]) for i in range(many)]
    taken = []
    for cores in (1, 2):
        before = os.sched_getaffinity(0)
        os.sched_setaffinity(0, set(sorted(before)[:cores]))
        began, cpu = time.perf_counter(), sum(os.times()[:4])
        made = [BatchSheet(f"{case} {tag}", partial(sheet, case, tag)) for case, tag in wanted]
        found = render_batch(made, day=date(2027, 3, 10))
        assert not found.skipped
        taken.append(time.perf_counter() - began)
        os.sched_setaffinity(0, before)
        yield f"{many} sheets on {cores}: {taken[-1]:.1f} s, CPU {sum(os.times()[:4]) - cpu:.1f} s"
    yield f"two cores : one core, {taken[0] / taken[1]:.2f} times as fast"


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--batch", type=int, default=100, help="how many sheets together; 0: none")
    parser.add_argument("--languages", nargs="+", default=TAGS)
    parser.add_argument("--cases", nargs="+", default=SHOWN)
    given: Any = parser.parse_args(arguments)
    made = sheets(given.rounds, given.cases, given.languages)
    for line in chain(made, batch(given.batch) if given.batch else ()):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
