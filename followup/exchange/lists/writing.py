"""A table written as the kind of file that it came in; no cell begins like a formula."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time
from xml.sax.saxutils import escape, quoteattr

from followup.cells import guarded
from followup.exchange.lists.table import Cell, FileForm, Table

# No XML holds them; whoever reads the table sees that something stood there.
_NO_LETTER = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_SHEET = re.compile(r"[\[\]:*?/\\']")


def written(table: Table, form: FileForm) -> bytes:
    """The file. Days, times and numbers stay what they are where the kind knows them."""
    if form.kind == "csv":
        return _text(table.rows, form)
    return _xlsx(table) if form.kind == "xlsx" else _ods(table)


def as_text(cell: Cell) -> str:
    """What a cell says, in the one way in which each day and number is read back."""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, datetime):
        return cell.isoformat(" ", "seconds")
    if isinstance(cell, (date, time)):
        return cell.isoformat()
    return repr(cell) if isinstance(cell, float) else str(cell)


def _clean(text: str) -> str:
    return _NO_LETTER.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))


def _text(rows: Iterable[Sequence[Cell]], form: FileForm) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=form.delimiter, lineterminator="\r\n", quoting=csv.QUOTE_MINIMAL)
    for row in rows:
        writer.writerow([_clean(guarded(cell)) if isinstance(cell, str) else as_text(cell) for cell in row])
    # What was added (a reason in the staff's own letters) may be none of the letters that came.
    text = out.getvalue()
    try:
        return text.encode(form.encoding)
    except UnicodeEncodeError:
        return text.encode("utf-8-sig")


def _xlsx(table: Table) -> bytes:
    import xlsxwriter

    out = io.BytesIO()
    plain = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, {"in_memory": True, **plain}) as book:
        forms = {
            kind: book.add_format({"num_format": shown})
            for kind, shown in ((datetime, "yyyy-mm-dd hh:mm:ss"), (date, "yyyy-mm-dd"), (time, "hh:mm:ss"))
        }
        sheet = book.add_worksheet(_SHEET.sub(" ", table.name)[:31].strip() or "Sheet1")
        for number, row in enumerate(table.rows):
            for column, cell in enumerate(row):
                if isinstance(cell, str):
                    if cell:
                        sheet.write_string(number, column, _clean(guarded(cell)))
                elif isinstance(cell, (date, time)):
                    sheet.write_datetime(number, column, cell, forms[type(cell)])
                elif isinstance(cell, bool):
                    sheet.write_boolean(number, column, cell)
                else:
                    sheet.write_number(number, column, cell)
    return out.getvalue()


# OpenDocument 1.3, parts 2 (the package) and 3 (the document): as little as makes a table.
_MANIFEST = """<?xml version="1.0" encoding="UTF-8"?>
<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.3">
<manifest:file-entry manifest:full-path="/" manifest:version="1.3"
 manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>
<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>"""
_HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"
 xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"
 xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"
 xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0"
 xmlns:number="urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0" office:version="1.3">
<office:automatic-styles>
<number:date-style style:name="day-shown"><number:year number:style="long"/><number:text>-</number:text>
<number:month number:style="long"/><number:text>-</number:text><number:day number:style="long"/>
</number:date-style>
<style:style style:name="day" style:family="table-cell" style:data-style-name="day-shown"/>
</office:automatic-styles>
<office:body><office:spreadsheet>"""
_FOOT = "</table:table></office:spreadsheet></office:body></office:document-content>"


def _ods(table: Table) -> bytes:
    rows = "".join(
        f"<table:table-row>{''.join(_ods_cell(cell) for cell in row)}</table:table-row>" for row in table.rows
    )
    width = max((len(row) for row in table.rows), default=1) or 1
    columns = f'<table:table-column table:number-columns-repeated="{width}"/>'
    body = (
        f"{_HEAD}<table:table table:name={quoteattr(_clean(table.name) or 'Sheet1')}>{columns}{rows}{_FOOT}"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        # First and not packed, so that the kind can be told from the first bytes.
        package.writestr(
            zipfile.ZipInfo("mimetype"), "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED
        )
        package.writestr("META-INF/manifest.xml", _MANIFEST)
        package.writestr("content.xml", body)
    return out.getvalue()


def _ods_cell(cell: Cell) -> str:
    if cell == "" and isinstance(cell, str):
        return "<table:table-cell/>"
    if isinstance(cell, str):
        return _ods_typed("string", "", _clean(guarded(cell)))
    said = as_text(cell)
    if isinstance(cell, bool):
        return _ods_typed("boolean", f'office:boolean-value="{said.lower()}"', said)
    if isinstance(cell, date):
        # Without a form of its own a day is shown with an hour that nobody wrote.
        form = "" if isinstance(cell, datetime) else ' table:style-name="day"'
        return _ods_typed("date", f'office:date-value="{said.replace(" ", "T")}"{form}', said)
    if isinstance(cell, time):
        length = f"PT{cell.hour:02}H{cell.minute:02}M{cell.second:02}S"
        return _ods_typed("time", f'office:time-value="{length}"', said)
    return _ods_typed("float", f'office:value="{said}"', said)


def _ods_typed(kind: str, value: str, shown: str) -> str:
    paragraphs = "".join(f"<text:p>{_spaced(line)}</text:p>" for line in shown.split("\n"))
    return f'<table:table-cell office:value-type="{kind}" {value}>{paragraphs}</table:table-cell>'


def _spaced(line: str) -> str:
    """Blanks that XML would take together, each as the element that stands for it. A tab becomes one: its
    own element is what other readers leave out, and two words would be one."""
    kept = re.sub("^ | $|(?<= ) ", "\0", escape(line.replace("\t", " ")))
    return kept.replace("\0", "<text:s/>")
