"""Long work gives way: between two sheets of a day it waits until the pages asked for are made."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from types import SimpleNamespace
from typing import Any

import anyio
import pytest

from followup.care.sheets import of_a_day
from followup.desks.api import operations
from followup.desks.counsellor import printing
from followup.desks.door import way
from followup.desks.door.way import Way


def _run(work: Callable[[], Coroutine[Any, Any, None]]) -> None:
    """In a thread of its own: a browser open in this one has its loop running."""
    with ThreadPoolExecutor(1) as pool:
        pool.submit(anyio.run, work).result()


def _told_while_a_page_is_made(ends: threading.Event) -> list[str]:
    """What happened, in order, where long work gives way while a page is made that waits for ``ends``."""
    told: list[str] = []

    def page() -> None:
        ends.wait(30)
        told.append("the page is there")

    def work(limiter: anyio.CapacityLimiter) -> None:
        threading.Timer(0.2, ends.set).start()
        Way(limiter).give()
        told.append("the work goes on")

    async def both() -> None:
        limiter = anyio.CapacityLimiter(4)
        run = partial(anyio.to_thread.run_sync, limiter=limiter)
        async with anyio.create_task_group() as group:
            group.start_soon(run, page)
            await anyio.sleep(0.05)
            group.start_soon(run, partial(work, limiter))

    _run(both)
    return told


def test_long_work_waits_until_the_page_is_made(monkeypatch):
    monkeypatch.setattr(way, "_PATIENCE", 30)
    assert _told_while_a_page_is_made(threading.Event()) == ["the page is there", "the work goes on"]


def test_long_work_goes_on_however_many_pages_are_asked_for(monkeypatch):
    monkeypatch.setattr(way, "_PATIENCE", 0.01)
    assert _told_while_a_page_is_made(threading.Event()) == ["the work goes on", "the page is there"]


def test_long_work_that_is_alone_waits_for_nothing(monkeypatch):
    monkeypatch.setattr(way, "_PATIENCE", 30)

    async def alone() -> None:
        limiter = anyio.CapacityLimiter(1)
        await anyio.to_thread.run_sync(Way(limiter).give, limiter=limiter)

    begun = time.monotonic()
    _run(alone)
    assert time.monotonic() - begun < 10


@pytest.mark.parametrize("api", ["", "/api"])
def test_whoever_prints_a_day_gives_way_before_each_sheet(scene, monkeypatch, api):
    given: list[str] = []
    monkeypatch.setattr(Way, "give", lambda _self: given.append("way"))

    def laid(sheets, *, progress, **_):
        for number, sheet in enumerate(sheets, 1):
            progress(number, len(sheets), sheet.name)
        return SimpleNamespace(parts=[b"%PDF-"])

    monkeypatch.setattr(of_a_day, "render_batch", laid)
    assert scene.browser("carol").get(f"{api}/operations/sheets.pdf?on=2027-03-01").status_code == 200
    assert len(given) == 3

    def issued(_hand, _day, between):
        between()

    monkeypatch.setattr(printing, "issue_day", issued)
    monkeypatch.setattr(operations, "issue_day_sheets", issued)
    scene.browser("carol").post(f"{api}/operations/sheets?on=2027-03-01", data={"on": "2027-03-01"})
    assert len(given) == 4
