"""A process that works on a store and may be killed at any moment. Not a test: run by the tests.

Started once, it imports everything and then forks a child for each line of its input, so that a
hundred children cost no more than a few starts. A line is JSON: what to do, where, at which instant
and after how long to kill it. The answer is the exit code of the child.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import time
from datetime import datetime
from pathlib import Path

# Loaded here, so that no child spends its life on loading them.
from followup.cli import cli, importing, language  # noqa: F401
from followup.cli.contract import run
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import Record
from followup.errors import FollowupError
from followup.recall.jobs.daily import Workplace
from followup.recall.jobs.scheduler import sweep_if_ours
from followup.recall.messages.channels import NotSentError
from followup.records.people.patients import enter_record
from followup.records.plans.sheets import hand_over_sheet, issue_sheet
from followup.records.store.engine import make_engine
from followup.records.store.migrations import upgrade
from followup.records.store.store import Store
from followup.records.views import Actor

DESK = Actor("mira", frozenset({"counsellor", "reception"}), "Mira")
PROTOCOL = load_protocol()


class Log:
    """Hands each message to a file by one appended line, as a gateway would take it."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def send(self, message) -> None:
        try:
            tell(self._path, message.key)
        except OSError as exc:
            raise NotSentError(str(exc)) from None


def tell(path: Path, line: str) -> None:
    """One line, written in one go."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.write(descriptor, f"{line}\n".encode())
    os.close(descriptor)


def sweep(url: str, folder: Path, now: datetime, **_) -> None:
    """One server's sweep with the day's work and its messages."""
    store = Store.open(url)
    place = Workplace(store, PROTOCOL, folder / f"place-{os.getpid()}", {"folder": Log(folder / "sent")})
    sweep_if_ours(store, f"server {os.getpid()}", now, place=place)
    store.close()


def enter(url: str, folder: Path, now: datetime, first: int, count: int, **_) -> None:
    """Records entered one after another; each is told to the file once it is stored."""
    store = Store.open(url)
    for number in range(first, first + count):
        code = f"E-{number}"
        person = {"code": code, "name": "Asha Rao", "birth_year": 1950}
        operation = {
            "eye": "left",
            "eye_drawn": "left",
            "date": "2027-03-01",
            "procedure": "phacoemulsification",
        }
        record = Record.model_validate({"patient": person, "operations": [operation]})
        try:
            with store.write(DESK, now) as unit:
                enter_record(unit, record=record)
        except FollowupError as error:
            tell(folder / "refused", f"{code} {error.code}")
            if error.code == "store.full":
                break
            continue
        tell(folder / "stored", code)
    store.close()


def print_batch(url: str, folder: Path, now: datetime, plans: list[int], first: int, **_) -> None:
    """The sheets of a day printed one after another and handed over."""
    store = Store.open(url)
    for number, plan_id in enumerate(plans):
        sheet_id = f"{first + number:010d}"
        with store.write(DESK, now) as unit:
            issue_sheet(unit, plan_id=plan_id, sheet_id=sheet_id, language="en", reason="another batch")
        tell(folder / "printed", sheet_id)
        with store.write(DESK, now) as unit:
            hand_over_sheet(unit, sheet_id=sheet_id, to="self")
        tell(folder / "handed", sheet_id)
    store.close()


def migrate(url: str, **_) -> None:
    """The store brought to the newest schema."""
    engine = make_engine(url, pooled=False)
    upgrade(engine)
    engine.dispose()


def command(url: str, folder: Path, arguments: list[str], **_) -> None:
    """A command of the program on the clinic in ``folder``; told to a file once it said that all was done."""
    os.environ |= {"FOLLOWUP_FOLDER": str(folder), "FOLLOWUP_DATABASE_URL": url}
    for stream in (1, 2):
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream)
    if run(cli, arguments) != 0:
        raise SystemExit(1)
    tell(folder / "done", arguments[-1])


def limited(size: int) -> None:
    """From now on no file may grow beyond ``size`` bytes, as on a disk that is full."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


WORK = {"sweep": sweep, "enter": enter, "print": print_batch, "migrate": migrate, "command": command}


def main() -> None:
    for line in sys.stdin:
        order = json.loads(line)
        child = os.fork()
        if child == 0:
            code = 1
            try:
                if "limit" in order:
                    limited(order["limit"])
                order.pop("kill", None)
                order["now"] = datetime.fromisoformat(order["now"])
                order["folder"] = Path(order["folder"])
                WORK[order.pop("work")](**order)
                code = 0
            finally:
                os._exit(code)
        sys.stdout.write(f"{ended(child, order.get('kill'))}\n")
        sys.stdout.flush()


def ended(child: int, after: float | None) -> int:
    """The child's exit code, negative for a signal; killed ``after`` so many seconds, if it still runs.

    Only here, where the child is waited for, can its number not have passed to another process.
    """
    end = time.monotonic() + (after if after is not None else 600)
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        left = end - time.monotonic()
        if left <= 0:
            os.kill(child, signal.SIGKILL)
            return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        time.sleep(min(left, 0.002))


if __name__ == "__main__":
    main()
