"""The typesetting worker: a child process that turns the data of sheets or of labels into a PDF.

It runs as ``python -m followup.sheets.paper.worker TEMPLATES FONTS...`` with the folders it reads from, takes
jobs from standard input and answers on standard output, each message a four-byte length and that many bytes
of JSON or of the result. A child, so that a layout that never ends can be killed without harm to the server;
it imports nothing of the program, so that it is there at once.
"""

from __future__ import annotations

import json
import struct
import sys
from functools import cache
from pathlib import Path
from typing import IO, Any

import typst

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
    templates, *fonts = sys.argv[1:]
    while (message := read_message(sys.stdin.buffer)) is not None:
        job = json.loads(message)
        layout = LABELS if "labels" in job else SHEETS
        write_message(sys.stdout.buffer, _answer(compiler(layout, templates, *fonts), job))


@cache
def compiler(layout: str, templates: str, *fonts: str) -> typst.Compiler:
    """The compiler of a layout file, with these folders of fonts."""
    return typst.Compiler(
        str(Path(templates) / layout), root=templates, font_paths=[*fonts], ignore_system_fonts=True
    )


def _answer(typesetter: typst.Compiler, job: dict[str, Any]) -> bytes:
    try:
        return DONE + _compile(typesetter, job)
    except typst.TypstError as exc:
        return FAILED + str(exc).encode()


def _compile(typesetter: typst.Compiler, job: dict[str, Any]) -> bytes:
    # Inputs stay set from one job to the next: always give all of them.
    inputs = {"data": json.dumps(job, ensure_ascii=False)}
    found = typesetter.compile(format="pdf", sys_inputs=inputs, pdf_standards=["ua-1"], timestamp=_TIMESTAMP)
    assert isinstance(found, bytes)
    return found


if __name__ == "__main__":
    main()
