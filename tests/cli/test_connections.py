"""Connections that say nothing go, and keep nobody out: a real server on this computer, with little patience.

OWASP ASVS 5.0, V15.2.2 (no denial of service by holding what is costly).
"""

from __future__ import annotations

import socket
import threading
import time
from contextlib import ExitStack, closing, suppress

import pytest

from followup.cli import connections
from followup.cli.connections import Limits, usual_limits
from followup.cli.serving import server_of

PATIENCE = 0.8
WHOLE = 2.0
ASKED = b"GET / HTTP/1.1\r\nhost: clinic.test\r\n\r\n"
HALF_HEAD = ASKED[:20]
HALF_BODY = b"POST / HTTP/1.1\r\nhost: clinic.test\r\ncontent-length: 100\r\n\r\n0123456789"


async def _app(scope, receive, send):
    """Answers with how much was sent to it; a slow address takes longer than anybody's patience."""
    if scope["type"] == "lifespan":
        return
    taken = 0
    while (message := await receive())["type"] == "http.request":
        taken += len(message.get("body", b""))
        if not message.get("more_body"):
            break
    if scope["path"] == "/slow":
        import asyncio

        await asyncio.sleep(2.5 * PATIENCE)
    body = b"taken: %d" % taken
    await send(
        {"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % len(body))]}
    )
    await send({"type": "http.response.body", "body": body})


@pytest.fixture(scope="module")
def served():
    """A server with these limits, and its port."""
    server = server_of(_app, Limits(patience=PATIENCE, whole=WHOLE, most=120, of_one=100))
    listener = socket.create_server(("127.0.0.1", 0), backlog=256)
    port = listener.getsockname()[1]
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield server, port
    server.should_exit = True
    thread.join()
    listener.close()


@pytest.fixture
def connect(served):
    """Opens connections, from any address of this computer; all are closed at the end."""
    with ExitStack() as stack:

        def one(sent: bytes = b"", origin: str = "127.0.0.1") -> socket.socket:
            made = socket.create_connection(("127.0.0.1", served[1]), timeout=20, source_address=(origin, 0))
            stack.enter_context(closing(made))
            made.sendall(sent)
            return made

        yield one


def _answer(one: socket.socket) -> bytes:
    """What came back until the whole of it was there or the connection ended."""
    found = b""
    try:
        while not (b"\r\n\r\n" in found and b"taken" in found) and (part := one.recv(4096)):
            found += part
    except ConnectionError:
        return b""
    return found


def _open(server) -> int:
    """How many connections the server has that it is not about to close."""
    return sum(not one.transport.is_closing() for one in list(server.server_state.connections))


def _settled(server, most: int) -> int:
    """How many it has once they are not more than ``most``, or after long waiting."""
    ends = time.monotonic() + 20
    while _open(server) > most and time.monotonic() < ends:
        time.sleep(0.05)
    return _open(server)


def test_a_hundred_and_sixty_idle_halves_neither_stay_nor_stop_others(served, connect):
    server, _ = served
    halves = [connect(HALF_HEAD) for _ in range(160)]
    assert b"taken: 0" in _answer(connect(ASKED))
    # Never more than the limit of one origin, whatever the patience.
    assert _open(server) <= 100
    assert _settled(server, 1) <= 1
    assert [_answer(one) for one in halves] == [b""] * 160


def test_one_origin_that_has_all_it_may_keeps_no_other_out(served, connect):
    server, _ = served
    first, second = ([connect(HALF_HEAD, f"127.0.0.{number}") for _ in range(70)] for number in (2, 3))
    assert b"taken: 0" in _answer(connect(ASKED, "127.0.0.4"))
    assert _open(server) <= 120
    assert len(first + second) == 140


@pytest.mark.parametrize("begun", [b"", HALF_HEAD, HALF_BODY])
def test_what_was_begun_and_does_not_go_on_ends(connect, begun):
    one = connect(begun)
    since = time.monotonic()
    assert _answer(one) == b""
    assert PATIENCE * 0.5 < time.monotonic() - since < 10 * PATIENCE


@pytest.mark.parametrize("begun", [HALF_HEAD, HALF_BODY])
def test_a_drop_now_and_then_does_not_hold_a_connection(connect, begun):
    one = connect(begun)
    since = time.monotonic()
    with suppress(ConnectionError):
        while time.monotonic() - since < 20:
            one.sendall(b"x")
            time.sleep(PATIENCE / 5)
    assert time.monotonic() - since < 10


def test_a_slow_upload_and_a_slow_answer_are_waited_for(connect):
    slow = connect(ASKED.replace(b"GET /", b"GET /slow"))
    one = connect(HALF_BODY)
    for _ in range(9):
        time.sleep(WHOLE / 30)
        one.sendall(b"0123456789")
    assert b"taken: 100" in _answer(one)
    assert b"taken: 0" in _answer(slow)


def test_a_connection_is_used_again_and_its_second_half_request_ends_too(connect):
    one = connect(ASKED)
    assert b"taken: 0" in _answer(one)
    one.sendall(ASKED)
    assert b"taken: 0" in _answer(one)
    one.sendall(HALF_HEAD)
    assert _answer(one) == b""


@pytest.mark.skipif(connections.sys.platform == "win32", reason="there is no such limit")
@pytest.mark.parametrize(("allowed", "most"), [(64, 21), (1024, 341), (-1, 500), (1_000_000, 500)])
def test_the_limit_of_open_files_is_not_reached(monkeypatch, allowed, most):
    import resource

    monkeypatch.setattr(resource, "getrlimit", lambda _: (allowed, allowed))
    found = usual_limits()
    assert found.most == most
    assert 0 < found.of_one < most
    assert usual_limits(all_through_one=True).of_one == most
    assert found.patience == Limits.patience == 20
