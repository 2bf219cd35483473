"""A request that names another host than this clinic's pages is refused before anything reads it.

A page of a stranger can let a browser take this computer for the stranger's own (DNS rebinding), and then
the browser itself says that nothing is cross-site.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from followup.desks.door.problems import answer
from followup.errors import FollowupError

LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
# In one language: whose page this is, is not known yet.
_REFUSED = FollowupError(
    "request.host",
    "these pages are not served under this name",
    fix="use the address that the clinic uses, or have the name added to FOLLOWUP_NAMES",
)


class KnownHosts:
    """Lets in what asks for a name of the desk, or for the very address at which the request came in."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not _is_known(scope):
            await _refusal(scope["path"])(scope, receive, send)
            return
        await self.app(scope, receive, send)


def host_of(headers: Mapping[str, str]) -> str:
    """The name or address that a request asks for, without its port, in small letters; "" without one."""
    given = headers.get("host", "").strip().casefold()
    name = given[1:].partition("]")[0] if given.startswith("[") else given.partition(":")[0]
    return name.removesuffix(".")


def _is_known(scope: Any) -> bool:
    asked, here = host_of(Headers(scope=scope)), (scope.get("server") or ("",))[0]
    # As the computer writes it, with the network card or the older form of the address.
    here = here.partition("%")[0].removeprefix("::ffff:")
    return bool(asked) and (asked == here or asked in scope["app"].state.desk.names)


def _refusal(path: str) -> Response:
    if path.startswith("/api/"):
        return answer(400, _REFUSED)
    return PlainTextResponse(f"{_REFUSED.line}\n", 400)
