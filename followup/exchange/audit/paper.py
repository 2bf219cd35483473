"""The audit on paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, date, datetime, time

from followup.drawings.intervals import WIDTH, build_intervals
from followup.exchange.audit.document import CONVENTIONS, LIMITS, AuditDocument, AuditTable
from followup.language.fonts import fallback, must_be_covered
from followup.language.languages import Language
from followup.sheets.paper.plain import set_plain

Words = Callable[[str | date], str]


def audit_pdf(told: AuditDocument, clinic: str, language: Language, words: Words, made_on: date) -> bytes:
    """The PDF. ``clinic``: its name; ``words`` puts a text of the document, or a month, into ``language``.
    The same figures of the same day are the same bytes. Error: ``language.glyph``."""
    tables = [_table(table, words, language.rtl) for table in told.tables]
    for table in told.tables:
        for line in table.lines:
            must_be_covered(words(line.head), "audit")
    data = {
        "head": [words(told.title), clinic, words(told.span), words(LIMITS), words(CONVENTIONS)],
        "language": language.tag.split("-")[0],
        "direction": language.direction,
        "fonts": list(fallback(language)),
        "width": WIDTH,
        "tables": tables,
        "limits": [words(line) for line in told.limits],
        "conventions": [words(line) for line in told.conventions],
    }
    made = datetime.combine(made_on, time(), UTC)
    return set_plain("audit.typ", data, int(made.timestamp()))


def _table(table: AuditTable, words: Words, mirrored: bool) -> dict[str, object]:
    plot = build_intervals([line.drawn for line in table.lines], mirrored)
    return {
        "title": words(table.title),
        "heads": [words(head) for head in table.heads],
        "lines": [
            {
                "head": words(line.head),
                "cells": [words(cell) for cell in line.cells],
                "mark": asdict(mark) if mark else None,
            }
            for line, mark in zip(table.lines, plot.marks, strict=True)
        ],
        "note": words(table.note),
        "most": plot.most,
    }
