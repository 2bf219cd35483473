"""One application for all tests of a process: working out its routes takes far longer than a request."""

from __future__ import annotations

from functools import cache
from typing import Any

import httpx2
from fastapi import FastAPI
from one_loop import OnOneLoop

from followup.desks.app import create_app
from followup.desks.door.hand import Desk


class AppOf:
    """The application as it serves ``desk``; several clinics may be asked in turn."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        app = _app(self.desk.https)
        app.state.desk = self.desk
        await app(scope, receive, send)


def browser_of(app: Any, base_url: str = "http://clinic.test", **transport: Any) -> httpx2.Client:
    """A browser that says where its requests come from and stays where an answer sends it on."""
    return httpx2.Client(
        transport=OnOneLoop(app, **transport),
        base_url=base_url,
        headers={"user-agent": "testclient", "sec-fetch-site": "same-origin"},
    )


@cache
def _app(https: bool) -> FastAPI:
    return create_app(_Nothing(https))  # type: ignore[arg-type]


class _Nothing:
    """Stands in until the first request brings its desk."""

    def __init__(self, https: bool) -> None:
        self.https = https
