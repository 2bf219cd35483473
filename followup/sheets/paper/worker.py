"""The typesetting worker: a child process that turns sheets' data into a PDF.

It runs as ``python -m followup.sheets.paper.worker``, reads jobs from standard input and answers on
standard output, each message a four-byte length and that many bytes of JSON or of the result.
A child, so that a layout that never ends can be killed without harm to the server.
"""

from __future__ import annotations

import json
import struct
import sys
from typing import IO, Any

import typst

from followup.language.fonts import font_folders
from followup.resources import folder

DONE, FAILED = b"+", b"-"
# A fixed instant: the same sheet is the same bytes. The day of printing stands in the document.
_TIMESTAMP = 1_767_225_600


def write_message(stream: IO[bytes], payload: bytes) -> None:
    stream.write(struct.pack(">I", len(payload)) + payload)
    stream.flush()


def read_message(stream: IO[bytes]) -> bytes | None:
    """The next message, or None when the other side is gone."""
    head = stream.read(4)
    if len(head) < 4:
        return None
    size = struct.unpack(">I", head)[0]
    payload = stream.read(size)
    return payload if len(payload) == size else None


def main() -> None:
    """Serve jobs until standard input closes."""
    templates = folder("templates")
    compiler = typst.Compiler(
        str(templates / "sheet.typ"),
        root=str(templates),
        font_paths=[str(path) for path in font_folders()],
        ignore_system_fonts=True,
    )
    while (message := read_message(sys.stdin.buffer)) is not None:
        write_message(sys.stdout.buffer, _answer(compiler, json.loads(message)))


def _answer(compiler: typst.Compiler, job: dict[str, Any]) -> bytes:
    try:
        return DONE + _compile(compiler, job)
    except typst.TypstError as exc:
        return FAILED + str(exc).encode()


def _compile(compiler: typst.Compiler, job: dict[str, Any]) -> bytes:
    # Inputs stay set from one job to the next: always give all of them.
    inputs = {"data": json.dumps(job, ensure_ascii=False)}
    found = compiler.compile(format="pdf", sys_inputs=inputs, pdf_standards=["ua-1"], timestamp=_TIMESTAMP)
    assert isinstance(found, bytes)
    return found


if __name__ == "__main__":
    main()
