"""How long the program takes to begin, what an idle server keeps, and what is installed.

Run it by hand from the tree: ``PYTHONPATH=. python tests/bench/bench_start.py [--rounds 5] [--clinic FOLDER]
[--size]``, with ``followup`` installed in the same environment. CPU seconds of each command with all its
children, everything compiled to bytecode before; every round runs all of them one after the other, and a
ratio is that to ``import sqlmodel`` of the same round (for a sheet: to a bare call of the typesetter with
the same data).
Nothing is judged.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import resource
import signal
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path
from typing import Any

TREE = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TREE / "tests" / "shared"))

PROGRAM = Path(sys.executable).with_name("followup")
RECORD = TREE / "followup" / "demo" / "cases" / "01-wanjiru.json"
TICKS = os.sysconf("SC_CLK_TCK")
BARE = """
import sys, typst
data, root, *fonts = sys.argv[1:]
typst.Compiler(root + "/sheet.typ", root=root, font_paths=fonts, ignore_system_fonts=True).compile(
    format="pdf", sys_inputs={"data": open(data, encoding="utf-8").read()}, pdf_standards=["ua-1"])
"""


def of_children(arguments: list[str], environment: dict[str, str]) -> float:
    """CPU seconds of a command that ends by itself."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(arguments, env=environment, check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def until_it_answers(arguments: list[str], path: str, environment: dict[str, str]) -> tuple[float, float]:
    """CPU seconds of a server until a page of it is there, and the megabytes that it keeps then."""
    with subprocess.Popen(
        arguments, env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as server:
        assert server.stdout is not None
        address = server.stdout.readline().split()[1].rstrip("/")
        while not _answers(address + path):
            time.sleep(0.02)
        found = Path(f"/proc/{server.pid}/stat").read_text().rpartition(")")[2].split()
        status = Path(f"/proc/{server.pid}/status").read_text()
        server.send_signal(signal.SIGINT)
        server.communicate()
    memory = re.search(r"VmRSS:\s+(\d+) kB", status)
    assert memory
    return (int(found[11]) + int(found[12])) / TICKS, int(memory[1]) / 1024


def _answers(address: str) -> bool:
    try:
        urllib.request.urlopen(address)
    except urllib.error.HTTPError:
        return True  # also the page that says how far the sample clinic is
    except urllib.error.URLError:
        return False
    return True


def _job(folder: Path) -> list[str]:
    """A bare call of the typesetter with the data of the sheet's draft, set as it came out at last."""
    from followup.cli.sheet import NO_CLINIC
    from followup.clinical.plan.build import build_plan
    from followup.clinical.protocol.load import load_protocol
    from followup.clinical.record import parse_json_object, parse_record
    from followup.language.fonts import font_folders
    from followup.sheets.content import build_content
    from followup.sheets.options import SheetChoices, usual_options
    from followup.sheets.paper.pdf import job, laid_out

    record = parse_record(parse_json_object(RECORD.read_text("utf-8"), RECORD.name))
    protocol, day = load_protocol(), record.last_operation_day
    content = build_content(
        build_plan(record, protocol, as_of=day), record, protocol.formulary, NO_CLINIC, printed_on=day,
        aftercare=protocol.aftercare, options=usual_options(record, SheetChoices()),
    )  # fmt: skip
    _, sheets, _ = laid_out(content)
    (folder / "job.json").write_text(json.dumps(job(sheets, day), ensure_ascii=False), "utf-8")
    fonts = [str(path) for path in font_folders()]
    return [sys.executable, "-c", BARE, str(folder / "job.json"), str(TREE / "templates"), *fonts]


def measured(rounds: int, clinic: str | None) -> Iterator[str]:
    with tempfile.TemporaryDirectory() as name:
        folder, program = Path(name), str(PROGRAM)
        environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        environment["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
        if clinic is None:
            clinic = str(folder / "clinic")
            of_children([program, "demo", "--folder", clinic, "--no-serve"], environment)
        serve = [program, "serve", "--folder", clinic, "--port"]
        demo = [program, "demo", "--port"]
        ends: dict[str, list[str]] = {
            "python -c pass": [sys.executable, "-c", "pass"],
            "import sqlmodel": [sys.executable, "-c", "import sqlmodel"],
            "bare typesetter, one sheet": _job(folder),
            "followup --help": [program, "--help"],
            "followup plan": [program, "plan", str(RECORD)],
            "followup sheet RECORD": [program, "sheet", str(RECORD), "--out", str(folder / "sheet.pdf")],
            "followup due": [program, "due", "--folder", clinic],
        }
        runs: dict[str, Callable[[], float]] = {
            said: lambda command=command: of_children(command, environment) for said, command in ends.items()
        }
        memory: list[float] = []

        def answered(command: list[str], port: int, path: str) -> float:
            cpu, kept = until_it_answers([*command, str(port)], path, environment)
            memory.append(kept)
            return cpu

        runs["followup demo, first page"] = lambda: answered(demo, 8571, "/")
        runs["followup serve, ready"] = lambda: answered(serve, 8572, "/healthz")
        taken: dict[str, list[float]] = {said: [] for said in runs}
        for number in range(rounds + 1):
            for said, run in runs.items():
                seconds = run()
                if number:  # the first compiles what is not compiled yet
                    taken[said].append(seconds)
        for said, each in taken.items():
            base = taken["bare typesetter, one sheet" if "sheet RECORD" in said else "import sqlmodel"]
            yield _line(said, each, [one / other for one, other in zip(each, base, strict=True)])
        yield f"idle server: {memory[-1]:.0f} MB"


def _line(said: str, seconds: list[float], ratios: list[float]) -> str:
    spread = f"{min(ratios):.2f} to {max(ratios):.2f}"
    return f"{said:28}{statistics.median(seconds):7.2f} s  {statistics.median(ratios):6.2f}  ({spread})"


def installed() -> Iterator[str]:
    """What the program needs at run time, in megabytes, the largest first."""
    found: dict[str, float] = {}
    ahead = ["followup"]
    while ahead:
        name = ahead.pop()
        try:
            package = distribution(name)
        except PackageNotFoundError:  # for another system or Python
            continue
        if package.name in found:
            continue
        files = [Path(str(package.locate_file(file))) for file in package.files or ()]
        found[package.name] = sum(file.stat().st_size for file in files if file.is_file()) / 1e6
        ahead += [_name(need) for need in package.requires or () if "extra ==" not in need]
        ahead += ["psycopg-binary"] if package.name == "psycopg" else []
    yield f"{sum(found.values()):.0f} MB in {len(found)} packages"
    for name, size in sorted(found.items(), key=lambda one: -one[1])[:24]:
        yield f"{name:32}{size:7.1f}"


def _name(need: str) -> str:
    return re.split(r"[^A-Za-z0-9._-]", need, maxsplit=1)[0]


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--clinic", metavar="FOLDER", help="a sample clinic; else one is made")
    parser.add_argument("--size", action="store_true", help="only what is installed")
    given: Any = parser.parse_args(arguments)
    for line in installed() if given.size else measured(given.rounds, given.clinic):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
