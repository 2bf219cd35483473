"""One typesetting worker, kept warm for a while, killed when a job takes too long."""

from __future__ import annotations

import atexit
import json
import os
import subprocess
import sys
import threading
from typing import Any

from followup.errors import FollowupError
from followup.language.fonts import font_folders
from followup.resources import folder
from followup.said import say
from followup.sheets.paper.worker import DONE, read_message, write_message

TIME_LIMIT = 20.0
# The worker keeps what it has laid out, some 40 MB a sheet: a new one costs a tenth of the time of so many.
MOST_JOBS = 8
# How a child gives way to other work: on Windows, and elsewhere.
_BELOW_NORMAL: int = getattr(subprocess, "BELOW_NORMAL_PRIORITY_CLASS", 0)
_NICE = 10


def folders() -> tuple[str, ...]:
    """Where a worker finds the layout files, and the fonts."""
    return tuple(str(each) for each in (folder("templates"), *font_folders()))


class Typesetter:
    """Sends jobs to a child process, one at a time. ``limit`` is in seconds.

    ``gives_way``: the computer lets other work go first, such as the pages that people wait for.
    """

    def __init__(self, limit: float = TIME_LIMIT, *, gives_way: bool = False) -> None:
        self._limit, self._gives_way = limit, gives_way
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None
        self._jobs = 0

    def typeset(self, job: dict[str, Any]) -> bytes:
        """The PDF of a job (see ``pdf.job``).

        Raises FollowupError ``sheet.overflow``, ``sheet.page_one``, ``sheet.layout`` or ``sheet.time``.
        """
        with self._lock:
            answer = self._ask(json.dumps(job, ensure_ascii=False).encode())
            self._jobs += 1
            if self._jobs >= MOST_JOBS:
                self.close()
        if answer[:1] == DONE:
            return answer[1:]
        raise _refusal(answer[1:].decode())

    def close(self) -> None:
        """End the child; the next job starts a new one."""
        child, self._child, self._jobs = self._child, None, 0
        if child is None:
            return
        child.kill()
        child.communicate()

    def _ask(self, job: bytes) -> bytes:
        child = self._running()
        assert child.stdin
        assert child.stdout
        timer = threading.Timer(self._limit, child.kill)
        timer.start()
        try:
            write_message(child.stdin, job)
            answer = read_message(child.stdout)
        except OSError:
            answer = None
        finally:
            timer.cancel()
        if answer is None:
            self.close()
            raise FollowupError(
                "sheet.time",
                say("the sheet was not ready within {limit} seconds", limit=format(self._limit, "g")),
                fix=say("print it again; if it happens again, shorten the plan's texts"),
            )
        return answer

    def _running(self) -> subprocess.Popen[bytes]:
        if self._child is None or self._child.poll() is not None:
            self.close()
            self._child = subprocess.Popen(  # noqa: S603 - our own interpreter and folders
                [sys.executable, "-P", "-m", "followup.sheets.paper.worker", *folders()],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                creationflags=_BELOW_NORMAL if self._gives_way else 0,
            )
            if self._gives_way and sys.platform != "win32":
                own = os.getpriority(os.PRIO_PROCESS, 0)
                os.setpriority(os.PRIO_PROCESS, self._child.pid, own + _NICE)
        return self._child


def _refusal(message: str) -> FollowupError:
    """What the typesetter complained of, in our words; its own may quote the patient's text."""
    if "overflow: " in message:
        word = message.split("overflow: ", 1)[1].split('"')[0]
        return FollowupError(
            "sheet.overflow",
            say("too long for its place on the sheet: {word}", word=repr(word[:60])),
            fix=say("shorten it, or break it with a space"),
        )
    if "page one: " in message:
        return FollowupError(
            "sheet.page_one",
            say("the come-at-once signs, telephones, eye and date do not fit on the first page"),
            fix=say("print it in normal size or on larger paper"),
        )
    return FollowupError(
        "sheet.layout",
        say(
            "the sheet could not be laid out: {message}",
            message=message.splitlines()[0] if message else say("no reason given"),
        ),
        fix=say("tell whoever looks after the program"),
    )


typesetter = Typesetter()
atexit.register(typesetter.close)
