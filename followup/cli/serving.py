"""The web pages on a port: made from the settings, with the recall jobs running beside them."""

from __future__ import annotations

import errno
import gc
import signal
import socket
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from ipaddress import ip_address

import uvicorn
from starlette.types import ASGIApp

from followup.cli.connections import AT_A_TIME, WAITING, Limits, bounded, usual_limits
from followup.cli.contract import say
from followup.cli.workplace import ways_out
from followup.clinical.protocol.load import load_protocol
from followup.desks.app import create_app
from followup.desks.door.hand import Desk
from followup.desks.door.names import LOOPBACK, host_of
from followup.errors import FollowupError
from followup.recall.codes.codes import load_keyring
from followup.recall.jobs.daily import Workplace
from followup.recall.jobs.scheduler import running
from followup.records.store.store import Store
from followup.settings import Settings

# A page makes thousands of values and lets them go at once. To look each time through everything that
# the program holds as well would keep everybody waiting for a fifth of a second.
_COLLECTED_AFTER = (10_000, 10, 10)


def desk_for(settings: Settings, store: Store, *, https: bool = False) -> Desk:
    """What the pages stand on."""
    return Desk(
        store=store,
        protocol=load_protocol(settings.protocol),
        keyring=load_keyring(settings.key_file),
        clock=lambda: datetime.now(UTC),
        https=https,
        trusted_proxy=settings.trusted_proxy,
        ways_out=ways_out(settings),
        names=names_of(settings),
    )


def names_of(settings: Settings) -> frozenset[str]:
    """Under which names and addresses the pages are asked for: this computer's, and those of the settings."""
    own, given = socket.gethostname(), settings.names.replace(",", " ").split()
    named = (settings.host, own, f"{own}.local", *given)
    return LOOPBACK | {host_of({"host": name}) if name.count(":") < 2 else name.casefold() for name in named}


def in_the_clear(address: str) -> bool:
    """Whether pages that are served at this address leave the computer, and can be read on the way."""
    return not ip_address(address.partition("%")[0]).is_loopback


def announce(listener: socket.socket, lines: Sequence[str]) -> None:
    """Say where the pages are, then ``lines``."""
    host, port = listener.getsockname()[:2]
    shown = f"[{host}]" if ":" in host else host
    for line in (f"Open http://{shown}:{port}/", *lines):
        say(line)


def serve_pages(desk: Desk, listener: socket.socket, *, place: Workplace | None = None) -> None:
    """Serve until stopped. With a ``place`` the daily jobs run beside the pages."""
    with listener:
        host = listener.getsockname()[0]
        desk = replace(desk, unencrypted=not desk.https and in_the_clear(host))
        if desk.unencrypted:
            say(
                "The pages leave this computer without encryption: whoever is on the network can read names "
                "and passwords. Put a program in front that speaks HTTPS, and start with --https."
            )
        app = create_app(desk, jobs=lambda: running(desk.store, place=place))
        leave_alone_what_stays()
        server = server_of(app, usual_limits(all_through_one=bool(desk.trusted_proxy)))
        # The server hands a signal on when it has closed; both are the ordinary way to stop it.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        with suppress(KeyboardInterrupt):
            server.run(sockets=[listener])


def leave_alone_what_stays() -> None:
    """What is loaded by now stays to the end: nothing need look for what can be let go in it."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(*_COLLECTED_AFTER)


def server_of(app: ASGIApp, limits: Limits) -> uvicorn.Server:
    """The server that answers for the application."""
    config = uvicorn.Config(
        app,
        # Through the same log as everything else.
        log_config=None,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        http=bounded(limits),
        backlog=AT_A_TIME,
        ws="none",
    )
    return _Server(config)


class _Server(uvicorn.Server):
    """Takes few connections at a time, and lets many more wait meanwhile than are taken."""

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        for listener in sockets or ():
            listener.listen(WAITING)


def listen(settings: Settings, *, or_any: bool = False) -> socket.socket:
    """The port, taken before anything is promised; ``or_any``: another one where it is in use."""
    try:
        family, _, _, _, address = socket.getaddrinfo(settings.host, settings.port, type=socket.SOCK_STREAM)[
            0
        ]
        try:
            return socket.create_server((str(address[0]), settings.port), family=family, backlog=128)
        except OSError as exc:
            if not or_any or exc.errno != errno.EADDRINUSE:
                raise
            return socket.create_server((str(address[0]), 0), family=family, backlog=128)
    except OSError as exc:
        raise FollowupError(
            "serve.port",
            f"the pages can't be served there: {exc.strerror}",
            where=f"{settings.host} port {settings.port}",
            fix="choose another --port or --host",
        ) from None
