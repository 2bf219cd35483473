"""The page that whoever opens the sample clinic sees while its weeks are still being told.

A clinic that is half told would show everybody as late, and what a visitor did in it would stand in the
journal before the weeks to come. So until it is whole its address answers with this page alone.
"""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from html import escape
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

AGAIN = 3  # seconds until the page looks again
_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<meta http-equiv="refresh" content="{again}">
<title>{name}</title>
<style>
body {{ max-width: 40em; margin: 3em auto; padding: 0 1em; font: 1.1em/1.5 sans-serif; color: #23201d }}
</style>
</head>
<body>
<h1>{name}</h1>
<p>Its weeks are being told: operations, plans, sheets, visits kept and missed. All of it is invented.</p>
<p role="status"><strong>{line}</strong></p>
<p>When all is told the log-in page opens here by itself.</p>
{notes}
</body>
</html>
"""


@contextmanager
def waiting(listener: socket.socket, name: str, notes: Sequence[str]) -> Iterator[Callable[[str], None]]:
    """Answer on ``listener`` with the page until left, and leave ``listener`` open.

    Gives what takes the line that says how far it is.
    """
    told = ["It begins"]

    class Answer(BaseHTTPRequestHandler):
        timeout = 5  # seconds for whoever connects and says nothing

        def do_GET(self) -> None:
            page = _page(name, told[-1], notes)
            self.send_response(503)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(page)))
            self.send_header("Retry-After", str(AGAIN))
            self.send_header("Cache-Control", "no-store")
            self.end_headers()
            self.wfile.write(page)

        do_POST = do_GET  # noqa: N815 - the server's name for it

        def log_message(self, format: str, *args: object) -> None:
            """Nobody reads who looked at this page."""

    server = ThreadingHTTPServer(listener.getsockname()[:2], Answer, bind_and_activate=False)
    server.socket.close()
    server.socket = listener
    thread = Thread(target=server.serve_forever, args=(0.1,), daemon=True)
    thread.start()
    try:
        yield told.append
    finally:
        server.shutdown()
        thread.join()


def _page(name: str, line: str, notes: Sequence[str]) -> bytes:
    said = "\n".join(f"<p>{escape(note)}</p>" for note in notes)
    return _PAGE.format(again=AGAIN, name=escape(name), line=escape(line), notes=said).encode()
