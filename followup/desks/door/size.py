"""What is too large is refused with words that say what to do, before anything reads it."""

from __future__ import annotations

from collections.abc import Callable

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from followup.desks.door.problems import MEDIA_TYPE, answer
from followup.errors import FollowupError
from followup.said import say

# So much is taken off the wire and thrown away, so that the browser listens to the answer.
_DRAIN = 100_000_000
_PAGE = b"""<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>Too large</title>
<link rel="stylesheet" href="/static/desk.css"></head><body><main><h1>Too large</h1>
<div class="say bad" role="alert"><p>What you sent is too large. Nothing was stored.</p></div>
<p>Go back, and send one record, one list, or one photo of at most 12 MB; or type the return code
that stands beside the square on the sheet.</p><p><a class="button" href="/">Go to my first page</a></p>
</main></body></html>"""


class BoundedBody:
    """Answers a request whose body is larger than ``most`` says, in bytes by the path of the request."""

    def __init__(self, app: ASGIApp, *, most: Callable[[str], int]) -> None:
        self.app = app
        self.most = most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        length = dict(scope.get("headers", ())).get(b"content-length", b"")
        path = scope.get("path", "")
        if scope["type"] != "http" or not length.isdigit() or _number(length) <= self.most(path):
            await self.app(scope, _counted(receive, self.most(path)), send)
            return
        await _drain(receive)
        kind, body = (
            (MEDIA_TYPE, _problem()) if path.startswith("/api/") else ("text/html; charset=utf-8", _PAGE)
        )
        headers = [(b"content-type", kind.encode()), (b"connection", b"close")]
        start: Message = {"type": "http.response.start", "status": 413, "headers": headers}
        await send(start)
        await send({"type": "http.response.body", "body": body})


def _number(digits: bytes) -> int:
    """A length in digits; one of absurdly many is longer than anything."""
    return int(digits) if len(digits) < 20 else 10**20


def _problem() -> bytes:
    error = FollowupError(
        "request.size", say("too large, nothing was stored"), where=say("body"), fix=say("send less at once")
    )
    return bytes(answer(413, error).body)


def _counted(receive: Receive, most: int) -> Receive:
    """``receive``, for a body that comes in pieces without saying how long it is."""
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise HTTPException(413)
        return message

    return counted


async def _drain(receive: Receive) -> None:
    taken = 0
    while taken < _DRAIN:
        message = await receive()
        taken += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body"):
            return
