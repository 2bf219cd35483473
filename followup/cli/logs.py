"""What the program writes of itself while it works: a line a cause a minute, to stderr and to a file.

A line holds no value of a database row: no name and no telephone. A fault that is expected (the database
is away, the disk is full, too many files are open, a browser went away) is a line; a fault of the program
is told with its traceback once, and by a line from then on. The file is rotated and never grows for good.
"""

from __future__ import annotations

import errno
import logging
import os
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path

from starlette.requests import ClientDisconnect

from followup.cli.contract import visible
from followup.errors import FollowupError
from followup.records.store.faults import database_fault, does_not_answer

FILE_NAME = "followup.log"
FILE_BYTES, FILES = 2_000_000, 5
PAUSE = 60.0
MOST_CAUSES = 200
MOST_LETTERS = 500
_EXPECTED = (FollowupError, ClientDisconnect, ConnectionError, TimeoutError)
_OF_THE_COMPUTER = frozenset(
    {errno.ENOSPC, errno.EDQUOT, errno.EMFILE, errno.ENFILE, errno.ENOMEM, errno.EIO}
)
_PACKAGE = f"{os.sep}followup{os.sep}"


@dataclass
class _Said:
    """A line that was written, how many more of its cause came since, and when it may be written again."""

    line: str
    again: float
    more: int = 0


class QuietLog(logging.Handler):
    """Hands each cause on to ``write`` once in ``pause`` seconds, and says then how many more there were."""

    def __init__(
        self,
        write: Callable[[str], None],
        *,
        clock: Callable[[], float] = time.monotonic,
        pause: float = PAUSE,
    ) -> None:
        super().__init__(logging.WARNING)
        self._write, self._clock, self._pause = write, clock, pause
        self._said: dict[str, _Said] = {}
        self._traced: set[str] = set()

    def emit(self, record: logging.LogRecord) -> None:
        with suppress(Exception):  # whoever writes a log must never be the next fault
            self._emit(record)

    def close(self) -> None:
        for said in self._said.values():
            self._tell_more(said)
        self._said.clear()
        super().close()

    def _emit(self, record: logging.LogRecord) -> None:
        now = self._clock()
        for other in [cause for cause, said in self._said.items() if said.again <= now]:
            self._tell_more(self._said.pop(other))
        problem = record.exc_info[1] if record.exc_info else None
        cause = told(problem) if problem is not None else f"{record.name} {record.msg}"
        if said := self._said.get(cause):
            said.more += 1
            return
        if len(self._said) >= MOST_CAUSES:
            self._tell_more(self._said.pop(next(iter(self._said))))
        line = _line(record, problem)
        self._said[cause] = _Said(line, now + self._pause)
        self._write(f"{_time()} {line}")
        if problem is None or is_expected(problem) or cause in self._traced:
            return
        if len(self._traced) < MOST_CAUSES:
            self._traced.add(cause)
            self._write(frames_of(problem))

    def _tell_more(self, said: _Said) -> None:
        if said.more:
            self._write(f"{_time()} {said.line} … {said.more} more like this")


class _OwnFile(RotatingFileHandler):
    """Its owner's alone from the first byte on."""

    def _open(self) -> TextIOWrapper:
        descriptor = os.open(self.baseFilename, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
        return os.fdopen(descriptor, "a", encoding="utf-8")

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802
        """A full disk is told on stderr by what could not be done, not by the log."""


@contextmanager
def logging_in(folder: Path) -> Iterator[None]:
    """Until the block ends, everything that is logged goes to stderr and to a file in ``folder``."""
    file = _OwnFile(folder / FILE_NAME, maxBytes=FILE_BYTES, backupCount=FILES - 1, delay=True)
    file.setFormatter(logging.Formatter("%(message)s"))

    def write(text: str) -> None:
        with suppress(OSError, ValueError, AttributeError):
            sys.stderr.write(f"{text}\n")
            sys.stderr.flush()
        file.handle(logging.makeLogRecord({"msg": "%s", "args": (text,)}))

    quiet, root = QuietLog(write), logging.getLogger()
    root.addHandler(quiet)
    try:
        yield
    finally:
        root.removeHandler(quiet)
        quiet.close()
        file.close()


def is_expected(problem: BaseException) -> bool:
    """Whether nobody who mends the program is needed: the computer, the network or somebody's input is it."""
    if isinstance(problem, _EXPECTED) or does_not_answer(problem):
        return True
    return isinstance(problem, OSError) and problem.errno in _OF_THE_COMPUTER


def told(problem: BaseException) -> str:
    """What a fault is, without any value that it carries: those may be of a patient."""
    if isinstance(problem, FollowupError):
        cause = database_fault(problem.__cause__) if problem.__cause__ is not None else None
        return f"{problem.code} ({cause})" if cause else problem.code
    if (fault := database_fault(problem)) is not None:
        return fault
    if isinstance(problem, OSError) and problem.strerror:
        return f"{type(problem).__name__}: {problem.strerror}"
    kind = f"{type(problem).__module__}.{type(problem).__qualname__}".removeprefix("builtins.")
    return f"{kind}{_place(problem)}"


def frames_of(problem: BaseException) -> str:
    """The traceback without what the exceptions say."""
    lines, seen = [], set()
    now: BaseException | None = problem
    while now is not None and id(now) not in seen:
        seen.add(id(now))
        lines.append(f"  {told(now)}")
        for frame in traceback.extract_tb(now.__traceback__):
            lines.append(f"    {_short(frame.filename)}:{frame.lineno} in {frame.name}")
        now = now.__cause__ or (None if now.__suppress_context__ else now.__context__)
    return "\n".join(lines)


def _line(record: logging.LogRecord, problem: BaseException | None) -> str:
    said = record.getMessage().strip()
    if said.startswith("Traceback"):
        said = said.splitlines()[-1].partition(":")[0]
    said = said.splitlines()[0] if said else ""
    what = f"{said}: {told(problem)}" if problem is not None else said
    text = visible(f"{record.levelname} {record.name}: {what}")
    return text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS - 1]}…"


def _place(problem: BaseException) -> str:
    """Where it happened: the innermost line of ours, else the innermost of all."""
    frames = traceback.extract_tb(problem.__traceback__)
    ours = [frame for frame in frames if _PACKAGE in frame.filename] or frames
    return f" at {_short(ours[-1].filename)}:{ours[-1].lineno} in {ours[-1].name}" if ours else ""


def _short(name: str) -> str:
    _, found, tail = name.rpartition(_PACKAGE)
    return f"followup{os.sep}{tail}" if found else os.sep.join(Path(name).parts[-3:])


def _time() -> str:
    return f"{datetime.now(UTC):%Y-%m-%d %H:%M:%SZ}"
