"""One event loop for all browsers of a test process.

Making a loop and its threads for each request takes longer than many a page; a server has one as well.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable
from contextlib import ExitStack
from functools import cache
from typing import Any

import httpx2
from anyio.from_thread import BlockingPortal, start_blocking_portal

_OPEN = ExitStack()


@cache
def _loop() -> BlockingPortal:
    return _OPEN.enter_context(start_blocking_portal())


def close_loop() -> None:
    """Ends the loop and its threads, where a test has asked for them."""
    _OPEN.close()
    _loop.cache_clear()


class OnOneLoop(httpx2.BaseTransport):
    """Asks an application of this process. Its faults come back as answers, with ``raises`` as they are."""

    def __init__(self, app: Any, *, address: str = "testclient", raises: bool = False) -> None:
        self._inner = httpx2.ASGITransport(app, raise_app_exceptions=raises, client=(address, 50_000))

    def handle_request(self, request: httpx2.Request) -> httpx2.Response:
        if not isinstance(request.stream, httpx2.AsyncByteStream):
            request.stream = _InParts(request.stream)
        return _loop().call(self._answered, request)

    async def _answered(self, request: httpx2.Request) -> httpx2.Response:
        answer = await self._inner.handle_async_request(request)
        body = httpx2.ByteStream(await answer.aread())
        return httpx2.Response(answer.status_code, headers=answer.headers, stream=body)


class _InParts(httpx2.AsyncByteStream):
    """A body that is made while it is sent, so that nobody knows how long it will be."""

    def __init__(self, parts: Iterable[bytes]) -> None:
        self._parts = parts

    async def __aiter__(self) -> AsyncIterator[bytes]:
        for part in self._parts:
            yield part
