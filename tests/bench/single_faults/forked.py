"""Runs tests on the faulty program, in children of a process that has the libraries in memory already.

A worker keeps its own copy of the program. For each file it forks a nursery, which imports the modules that
can't see the file; from there comes a child for each fault, which only has the rest to import.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import multiprocessing
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from single_faults import program
from single_faults.fault import Fault
from single_faults.judges import judges

# Everything that the program and its tests take from outside, as far as it takes long.
LIBRARIES = (
    *("pytest", "hypothesis", "hypothesis.strategies", "unittest.mock", "html.parser", "tomlkit"),
    *("sqlalchemy", "sqlalchemy.orm", "sqlalchemy.dialects.sqlite", "sqlmodel", "psycopg"),
    *("alembic", "alembic.command", "alembic.autogenerate", "fastapi", "fastapi.testclient", "uvicorn"),
    *(
        "starlette.templating",
        "pydantic",
        "babel",
        "babel.dates",
        "babel.messages.pofile",
        "jinja2",
        "qrcode",
    ),
    *("typst", "numpy", "zxingcpp", "pypdfium2", "PIL.Image", "fontTools.ttLib", "fontTools.subset"),
    *("click", "click.testing", "argon2", "apscheduler.schedulers.background", "time_machine", "httpx2"),
    *("nepali_datetime", "pyrage", "platformdirs"),
)
OPTIONS = (
    *("-q", "-x", "--no-header", "--tb=no", "--assert=plain", "--hypothesis-seed=0", "--database=sqlite"),
    *("-o", "timeout=0", "-p", "no:randomly", "-p", "no:xdist", "-p", "no:cacheprovider"),
    *("-p", "no:schemathesis", "-p", "no:logging"),
)
PATIENCE = 20  # seconds of the processor for one test; what takes longer never ends
WAITED = 1800.0  # seconds in all for what only waits
MEMORY = 3 << 30
TOGETHER = 5  # test files read in one run
CANNOT = 99
FEW = 3  # so few faults of a file are not worth importing everything else first


@dataclass(frozen=True)
class Verdict:
    """What became of a fault: the test that noticed it, or nothing."""

    id: str
    noticed_by: str
    seconds: float

    @property
    def noticed(self) -> bool:
        return bool(self.noticed_by)


def verdicts(faults: Iterable[Fault], jobs: int) -> Generator[Verdict, None, None]:
    """Every fault judged, in the order in which they are done."""
    batches = _batches(faults)
    if not batches:
        return
    _prepared()
    fork = multiprocessing.get_context("fork")
    waiting: Any = fork.SimpleQueue()
    done: Any = fork.SimpleQueue()
    for number in [*range(len(batches)), *[None] * jobs]:
        waiting.put(number)
    workers = [fork.Process(target=_work, args=(waiting, done, batches)) for _ in range(jobs)]
    for worker in workers:
        worker.start()
    try:
        for _ in range(sum(len(batch) for batch in batches)):
            verdict = done.get()
            if verdict is None:
                raise SystemExit("a worker could not go on: what it said stands above")
            yield Verdict(*verdict)
    finally:
        for worker in workers:
            worker.terminate()
            worker.join()


def times(tests: Iterable[str]) -> Iterator[tuple[str, float, str]]:
    """Each test file on the program without a fault: how long it takes the processor, and what failed."""
    _prepared()
    home = Path(tempfile.mkdtemp(prefix="whole-"))
    try:
        program.copied(home)
        _settle(home)
        for name in program.apart_from("-"):
            importlib.import_module(name)
        for test in tests:
            before = os.times()
            failed = _first_to_fail((test,), home)
            after = os.times()
            spent = (
                after.children_user + after.children_system - before.children_user - before.children_system
            )
            yield test, spent, failed
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _prepared() -> None:
    os.environ.update(dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1"))
    for name in LIBRARIES:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    assert "followup" not in sys.modules


def _batches(faults: Iterable[Fault]) -> list[list[Fault]]:
    """By file; data and templates, which no module holds, together. The longest first."""
    by_file: dict[str, list[Fault]] = {}
    for fault in faults:
        by_file.setdefault(fault.file if fault.file.endswith(".py") else "-", []).append(fault)
    cut = [held[start : start + 40] for held in by_file.values() for start in range(0, len(held), 40)]
    return sorted(cut, key=len, reverse=True)


def _work(waiting: Any, done: Any, batches: list[list[Fault]]) -> None:
    home = Path(tempfile.mkdtemp(prefix="faulty-"))
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        package = program.copied(home)
        while (number := waiting.get()) is not None:
            if _in_child(lambda batch=batches[number]: _nursery(package, batch, done)):
                done.put(None)
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _in_child(work: Any) -> int:
    """Do ``work`` in a child and wait for it; its exit code."""
    pid = os.fork()
    if pid:
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    code = 1
    try:
        work()
        code = 0
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(code)


def _nursery(package: Path, faults: list[Fault], done: Any) -> None:
    _settle(package.parent)
    if len(faults) >= FEW:
        for name in program.apart_from(faults[0].file):
            importlib.import_module(name)
    noticers: Counter[str] = Counter()
    worker = os.getppid()
    for fault in faults:
        if os.getppid() != worker:  # nobody waits any more
            return
        began = time.monotonic()
        text = fault.applied(program.text_of(fault.file))
        order = sorted(judges(fault.file), key=lambda test: -noticers[f"{fault.file} {test}"])
        with program.Faulty(program.path_of(fault.file, package), text):
            noticed = _first_to_fail(order, package.parent)
        noticers[f"{fault.file} {noticed.split('::')[0].removeprefix('tests/')}"] += 1
        done.put((fault.id, noticed, time.monotonic() - began))


def _settle(home: Path) -> None:
    """From here on ``followup`` is the copy, for this process and whatever it starts."""
    sys.path.insert(0, str(home))
    sys.dont_write_bytecode = True
    scratch = home / "scratch"
    scratch.mkdir(exist_ok=True)
    os.environ.update(
        PYTHONPATH=str(home),
        PYTHONDONTWRITEBYTECODE="1",
        HYPOTHESIS_STORAGE_DIRECTORY=str(scratch / "hypothesis"),
    )
    os.chdir(program.TESTS)


def _first_to_fail(tests: Sequence[str], home: Path) -> str:
    """The first test that fails, or how the run ended; empty where all pass."""
    importlib.invalidate_caches()
    assert (home / "followup").is_dir(), "the copy of the program is gone"
    scratch = home / "scratch"
    said = scratch / "said.json"
    said.unlink(missing_ok=True)
    pid = os.fork()
    if not pid:
        os.setsid()
        with open(scratch / "output.txt", "w", encoding="utf-8") as output:
            os.dup2(output.fileno(), 1)
            os.dup2(output.fileno(), 2)
        code = CANNOT
        try:
            code = _run(tests, scratch, said)
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    code = _ended(pid)
    if code in (None, -signal.SIGXCPU):
        return "never ended"
    if code == 0:
        return ""
    if said.exists():
        return json.loads(said.read_text("utf-8"))
    if code in (CANNOT, 5):
        raise RuntimeError(f"the tests could not be run:\n{(scratch / 'output.txt').read_text('utf-8')}")
    lines = (scratch / "output.txt").read_text("utf-8").strip().splitlines()
    return f"ended with {code}: {lines[-1] if lines else ''}"


def _run(tests: Sequence[str], scratch: Path, said: Path) -> int:
    import pytest

    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY, MEMORY))

    class FirstToFail:
        def pytest_runtest_setup(self) -> None:
            # A test that never ends burns its time; a busy computer takes none of it away.
            limit = int(time.process_time() + PATIENCE)
            resource.setrlimit(resource.RLIMIT_CPU, (limit, resource.RLIM_INFINITY))

        def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
            if report.failed and not said.exists():
                said.write_text(json.dumps(report.nodeid), "utf-8")

        def pytest_collectreport(self, report: pytest.CollectReport) -> None:
            if report.failed and not said.exists():
                said.write_text(json.dumps(f"{report.nodeid} (could not be read)"), "utf-8")

    # The first alone, the others some at a time: few runs, and little read in vain.
    for some in (tests[:1], *(tests[start : start + TOGETHER] for start in range(1, len(tests), TOGETHER))):
        shutil.rmtree(scratch / "made", ignore_errors=True)
        options = [*OPTIONS, f"--basetemp={scratch / 'made'}"]
        if code := int(pytest.main([*options, *some], plugins=[FirstToFail()])):
            return code
    return 0


def _ended(pid: int) -> int | None:
    """The exit code; None, and the child and all it started ended, where it takes too long."""
    until, parent = time.monotonic() + WAITED, os.getppid()
    while True:
        found, status = os.waitpid(pid, os.WNOHANG)
        if found:
            _end_group(pid)
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > until or os.getppid() != parent:  # or nobody waits any more
            _end_group(pid)
            os.waitpid(pid, 0)
            return None
        time.sleep(0.01)


def _end_group(pid: int) -> None:
    """End the child, and what it started and left."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(pid, signal.SIGKILL)
