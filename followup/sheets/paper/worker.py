"""The typesetting worker: a child process that turns the data of sheets or of labels into a PDF.

It runs as ``python -m followup.sheets.paper.worker``, reads jobs from standard input and answers on
standard output, each message a four-byte length and that many bytes of JSON or of the result.
A child, so that a layout that never ends can be killed without harm to the server.
"""

from __future__ import annotations

import json
import struct
import sys
from functools import cache
from typing import IO, Any

import typst

from followup.language.fonts import font_folders
from followup.resources import folder

DONE, FAILED = b"+", b"-"
SHEETS, LABELS = "sheet.typ", "label.typ"
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
    while (message := read_message(sys.stdin.buffer)) is not None:
        job = json.loads(message)
        layout = LABELS if "labels" in job else SHEETS
        write_message(sys.stdout.buffer, _answer(_compiler(layout), job))


@cache
def _compiler(layout: str) -> typst.Compiler:
    templates = folder("templates")
    return typst.Compiler(
        str(templates / layout),
        root=str(templates),
        font_paths=[str(path) for path in font_folders()],
        ignore_system_fonts=True,
    )


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
