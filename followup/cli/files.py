"""Reading what people hand in and writing what they get, with one line when it can't be done."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

import click

from followup.clinical.record import MAX_BYTES, Record, parse_json_object, parse_record
from followup.errors import FollowupError
from followup.records.store.durable import write_whole

STDIN = "-"


class DayOption(click.ParamType[date]):
    """A calendar day, YYYY-MM-DD, within the years the program plans for."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        try:
            day = date.fromisoformat(value)
        except ValueError:
            day = None
        if day is None or len(value) != 10 or not 1990 <= day.year <= 2200:
            self.fail(f"{value[:40]!r} is not a day; write YYYY-MM-DD, between 1990 and 2200", param, ctx)
        return day


def read_object(path: str) -> tuple[dict[str, Any], str]:
    """The JSON object in the file ``path`` ("-": standard input) and the name to call it by."""
    source = "standard input" if path == STDIN else path
    return parse_json_object(_read_text(path, source), source), source


def read_record(path: str) -> Record:
    """The validated record in the file ``path``."""
    return parse_record(*read_object(path))


def read_bytes(path: str, most: int, source: str = "") -> bytes:
    """The bytes of the file ``path`` ("-": standard input), at most ``most``; ``source`` names it."""
    source = source or path
    try:
        if path == STDIN:
            data = sys.stdin.buffer.read(most + 1)
        else:
            with open(path, "rb") as file:
                data = file.read(most + 1)
    except (OSError, ValueError, AttributeError) as exc:
        reason = (exc.strerror or "it can't be read") if isinstance(exc, OSError) else "it is closed"
        raise FollowupError("file.read", reason, where=source, fix="name a readable file") from None
    if len(data) > most:
        raise FollowupError(
            "file.size", f"larger than {most} bytes", where=source, fix="hand it in as several smaller ones"
        )
    return data


def read_text(path: str, most: int = MAX_BYTES) -> tuple[str, str]:
    """The text in the file ``path`` ("-": standard input) and the name to call it by."""
    source = "standard input" if path == STDIN else path
    return _read_text(path, source, most), source


def _read_text(path: str, source: str, most: int = MAX_BYTES) -> str:
    data = read_bytes(path, most, source)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise FollowupError(
            "file.text", f"not UTF-8 text at byte {exc.start}", where=source, fix="save the file as UTF-8"
        ) from None


def target(out: str | None, usual: str) -> Path:
    """The file to write: the one that was named, else the usual one where it is not there yet."""
    path = Path(out or usual)
    if out is None and path.exists():
        raise FollowupError("file.write", "it exists already", where=usual, fix="name a file with --out")
    return path


def write_out(path: Path, data: bytes, *, never: str = "") -> None:
    """Write ``data`` to ``path`` in one piece or not at all; ``never`` names the input, kept as it is."""
    if path.is_dir():
        raise FollowupError("file.write", "it is a folder", where=str(path), fix="name a file")
    if never and never != STDIN and path.exists() and path.samefile(never):
        raise FollowupError("file.write", "it is the record itself", where=str(path), fix="name another file")
    try:
        write_whole(path, data)
    except OSError as exc:
        reason = exc.strerror or "it can't be written"
        raise FollowupError(
            "file.write", reason, where=str(path), fix="name a file in a folder you may write to"
        ) from None
