"""Put single faults into a copy of the program, one at a time, and see that a test notices each.

``python tests/bench/run_mutants.py [--kind KIND] [--room ROOM] [--file FILE] [--line A-B] [--sample N]
[--minutes M] [--jobs J] [NAME ...]`` prints a line a fault and a table at the end; exit code 1 if one
lives that is not in ``survivors.toml``. Without choice: every fault, which takes hours. Nothing but the
copy is changed.
"""

from __future__ import annotations

import argparse
import signal
import sys
import time
from collections import Counter
from contextlib import closing
from fnmatch import fnmatch
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from single_faults.drawn import sample, seed
from single_faults.fault import Fault
from single_faults.forked import Verdict, times, verdicts
from single_faults.judges import judges
from single_faults.makers import faults_of
from single_faults.program import files
from single_faults.survivors import survivors


def chosen(asked: argparse.Namespace) -> list[Fault]:
    wanted = set(asked.names)
    among = [name.split(":")[0] for name in wanted] or [asked.file or "*"]
    first, last = (
        int(end) for end in (f"{asked.line}-{asked.line}" if asked.line else "1-999999").split("-")[:2]
    )
    found = [
        fault
        for file in files()
        if any(fnmatch(file, pattern) for pattern in among) and judges(file)
        for fault in faults_of(file)
        if (not wanted or fault.id in wanted)
        and (not asked.kind or fault.kind in asked.kind)
        and (not asked.room or fault.room in asked.room)
        and first <= fault.line <= last
    ]
    if lost := wanted - {fault.id for fault in found}:
        raise SystemExit("no such fault: " + ", ".join(sorted(lost)))
    return found


def told(fault: Fault, verdict: Verdict) -> str:
    if verdict.noticed:
        return f"noticed  {fault.shown()}  [{verdict.noticed_by}, {verdict.seconds:.1f} s]"
    known = "known   " if fault.id in survivors() else "SURVIVED"
    return f"{known} {fault.shown()}  [{verdict.seconds:.1f} s]\n         {fault.id}"


def table(faults: list[Fault], lived: set[str]) -> str:
    """Made and survived by room and by kind."""
    lines = [f"{'':<28}{'made':>7}{'noticed':>9}{'survived':>9}"]
    for what in ("room", "kind"):
        made = Counter(getattr(fault, what) for fault in faults)
        left = Counter(getattr(fault, what) for fault in faults if fault.id in lived)
        lines += [
            f"{name:<28}{made[name]:>7}{made[name] - left[name]:>9}{left[name]:>9}" for name in sorted(made)
        ]
        lines.append("")
    return "\n".join(
        [*lines, f"{'together':<28}{len(faults):>7}{len(faults) - len(lived):>9}{len(lived):>9}"]
    )


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kind", action="append")
    parser.add_argument("--room", action="append")
    parser.add_argument("--file", help="a pattern: 'clinical/data/*.toml'")
    parser.add_argument("--line", help="from-to")
    parser.add_argument("--sample", type=int)
    parser.add_argument("--seed", help="of the sample; otherwise what program and tests hold")
    parser.add_argument("--minutes", type=float, help="judge no more of them after so long")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument(
        "--at-least", type=float, default=100, help="percent that must be noticed; default: every one"
    )
    parser.add_argument("--only-survivors", action="store_true", help="print no line for what is noticed")
    parser.add_argument("--list", action="store_true", help="print the faults and run nothing")
    parser.add_argument(
        "--times", action="store_true", help="run the tests without a fault; how long each takes"
    )
    parser.add_argument("names", nargs="*")
    asked = parser.parse_args(arguments)
    faults = chosen(asked)
    if asked.sample:
        drawn_by = asked.seed or seed()
        faults = sample(faults, asked.sample, drawn_by)
        say(f"sample of {len(faults)}, seed {drawn_by}")
    if asked.list:
        say("\n".join(f"{fault.id}  {fault.shown()}" for fault in faults))
        return 0
    if asked.times:
        return told_times(faults)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # and the workers with it
    by_id, lived, judged = {fault.id: fault for fault in faults}, set(), []
    end = time.monotonic() + 60 * asked.minutes if asked.minutes else float("inf")
    with closing(verdicts(faults, asked.jobs)) as coming:
        for verdict in coming:
            judged.append(by_id[verdict.id])
            if not verdict.noticed:
                lived.add(verdict.id)
            if not verdict.noticed or not asked.only_survivors:
                say(told(by_id[verdict.id], verdict))
            if time.monotonic() > end and len(judged) < len(faults):
                say(f"the time is over: {len(judged)} of {len(faults)} were judged")
                break
    say(f"\n{table(judged, lived)}")
    new = sorted(lived - set(survivors()))
    if new:
        say("\nNobody noticed:")
        say("\n".join(f"  {by_id[id_].shown()}\n  python tests/bench/run_mutants.py '{id_}'" for id_ in new))
    drawn = bool(asked.sample) or len(judged) < len(faults)
    return 0 if enough(len(judged) - len(new), len(judged), asked.at_least, drawn=drawn) else 1


def enough(noticed: int, of: int, percent: float, *, drawn: bool) -> bool:
    """Whether so many noticed are ``percent`` of 100; of faults that were drawn, whether they may be.

    A few that were drawn say little of all: they are too few only where even the upper end of their share,
    by Wilson with 80 of 100, lies below. Otherwise one run in six would fail by chance alone.
    """
    # The program must not be loaded before the faulty copies of it are.
    from followup.wilson import wilson

    return not of or (wilson(noticed, of, 80)[1] if drawn else 100 * noticed / of) >= percent


def told_times(faults: list[Fault]) -> int:
    wrong = 0
    for test, seconds, failed in times(dict.fromkeys(t for f in faults for t in judges(f.file))):
        say(f"{seconds:7.2f} s  {test}  {failed}")
        wrong += bool(failed)
    return 1 if wrong else 0


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
