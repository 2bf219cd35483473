"""A process that works on a store and may be killed at any moment. Not a test: run by the tests.

Started once, it imports everything and then forks a child for each order, so that hundreds of children cost
no more than a few starts. A line of its input is JSON, the orders to work on at the same time: what to do,
where, at which instant and after how long to kill it. The answer is the exit code of each child.

An order may be worked on ``here``, in this process itself, which is never killed: what it learns by it, its
children know. So one that is killed dies at its work, and not while it gets ready.
"""

from __future__ import annotations

import gc
import json
import os
import resource
import signal
import sys
import time
from datetime import datetime
from pathlib import Path
from typing import Any

from alembic.script import ScriptDirectory

sys.path.append(str(Path(__file__).parents[1] / "shared"))

import one_dialect
import steps_read_once

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
from followup.records.store import store as stores
from followup.records.store.engine import make_engine
from followup.records.store.migrations import upgrade
from followup.records.store.store import Store
from followup.records.views import Actor

DESK = Actor("mira", frozenset({"counsellor", "reception"}), "Mira")
PROTOCOL = load_protocol()
ENDED = {signal.SIGCHLD}


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
    stores.make_engine = one_dialect.remembering(make_engine)
    ScriptDirectory.from_config = steps_read_once.remembering(ScriptDirectory.from_config)
    # Children live too short a life to have rubbish, and looking for it would copy all that they share.
    gc.disable()
    # Held back until it is waited for, so that a child that ends is noticed at once and without looking.
    signal.pthread_sigmask(signal.SIG_BLOCK, ENDED)
    # A command here must not write into the answers.
    answers = os.fdopen(os.dup(1), "w")
    for line in sys.stdin:
        told = json.loads(line)
        if isinstance(told, list):
            begun = [begin(order) for order in told]
            codes = ended({child: order.get("kill") for child, order in zip(begun, told, strict=True)})
            answer = [codes[child] for child in begun]
        else:
            get_ready(told)
            answer = []
        answers.write(json.dumps(answer) + "\n")
        answers.flush()


def get_ready(order: dict[str, Any]) -> None:
    """Do what is ordered here."""
    engine = make_engine(order["url"], pooled=False)
    if engine.dialect.name not in one_dialect.known():
        one_dialect.first_of_its_kind(engine)
    do(order)
    gc.collect()
    gc.freeze()


def begin(order: dict[str, Any]) -> int:
    """A child that does what is ordered; its number."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            signal.pthread_sigmask(signal.SIG_UNBLOCK, ENDED)
            do(order)
            code = 0
        finally:
            os._exit(code)
    return child


def do(order: dict[str, Any]) -> None:
    if "limit" in order:
        limited(order["limit"])
    given = {name: value for name, value in order.items() if name not in ("kill", "work")}
    given |= {"now": datetime.fromisoformat(order["now"]), "folder": Path(order["folder"])}
    WORK[order["work"]](**given)


def ended(children: dict[int, float | None]) -> dict[int, int]:
    """The exit code of each child, negative for a signal; killed after so many seconds, if it still runs.

    Only here, where the children are waited for, can none of their numbers have passed to another process.
    """
    begun, codes = time.monotonic(), {}
    ends = {child: begun + (600 if after is None else after) for child, after in children.items()}
    while ends:
        for child, end in [*ends.items()]:
            if late := time.monotonic() >= end:
                os.kill(child, signal.SIGKILL)
            done, status = os.waitpid(child, 0 if late else os.WNOHANG)
            if done:
                codes[child] = os.waitstatus_to_exitcode(status)
                del ends[child]
        if ends:
            signal.sigtimedwait(ENDED, max(0.0, min(ends.values()) - time.monotonic()))
    return codes


if __name__ == "__main__":
    main()
