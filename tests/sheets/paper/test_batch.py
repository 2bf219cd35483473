"""A day's sheets in one file: in order, each on a front, one bad record left out by name."""

from __future__ import annotations

from datetime import date

import pytest
import zxingcpp
from printed import says

from followup.errors import FollowupError
from followup.sheets.content import SheetOptions
from followup.sheets.paper import batch as batches
from followup.sheets.paper.batch import BatchSheet, render_batch
from followup.sheets.paper.typesetter import Typesetter

DAY = date(2026, 6, 1)
TAGS = ("en", "ur", "ta", "bn")


def _broken():
    raise FollowupError(
        "record.eye", "the drawn eye is the other one", where="operations.0.eye_drawn", fix="look"
    )


@pytest.fixture(scope="module")
def seen():
    return {}


@pytest.fixture
def printed(make_content, make_record, issue, seen):
    """Four sheets in four languages with a broken one and a fault between them, set once."""
    from dataclasses import replace

    def make(number: int, tag: str):
        record = make_record(code=f"P-{number}", name=f"Person Number{number}")
        one = replace(issue, qr_payload=f"EYE1.{number}")
        options = SheetOptions(calendar=number % 2 == 0, pictures=number == 2)
        return make_content(language=tag, record=record, issue=one, options=options)

    if not seen:
        sheets = [BatchSheet(f"P-{i}", lambda i=i, tag=tag: make(i, tag)) for i, tag in enumerate(TAGS)]
        sheets.insert(1, BatchSheet("P-90 ᚠ", _broken))
        sheets.insert(3, BatchSheet("P-91", lambda: 1 / 0))
        seen["steps"] = []
        seen["batch"] = render_batch(
            sheets, day=DAY, progress=lambda done, of, name: seen["steps"].append((done, of, name))
        )
    return seen


def _texts(open_pdf, printed):
    return [p.get_textpage().get_text_bounded() for p in open_pdf(printed["batch"].parts[0])]


def test_the_good_ones_are_printed_in_order_and_the_bad_ones_named(printed):
    batch = printed["batch"]
    assert batch.printed == ("P-0", "P-1", "P-2", "P-3")
    assert [(s.name, s.problem.code) for s in batch.skipped] == [
        ("P-90 ᚠ", "record.eye"),
        ("P-91", "sheet.fault"),
    ]
    assert len(batch.parts) == 1
    assert [done for done, _, _ in printed["steps"]] == [1, 2, 3, 4, 5, 6]
    assert {of for _, of, _ in printed["steps"]} == {6}


def test_the_cover_lists_every_sheet_to_tick_off_and_what_was_left_out(printed, open_pdf):
    cover = " ".join(_texts(open_pdf, printed)[0].split())
    assert "Sheets of the operations of Monday 1 June 2026" in cover
    assert "4 sheets" in cover
    at = [cover.index(f"Person Number{i} P-{i} Left eye") for i in range(4)]
    assert at == sorted(at)
    _each_line_has_the_language_and_pages_of_its_sheet(cover, at, _texts(open_pdf, printed))
    assert "Not printed. Make these by hand or put them right:" in cover
    assert "P-90 ?" in cover
    assert "operations.0.eye_drawn: the drawn eye is the other one - look" in cover
    assert "ZeroDivisionError" in cover


def _each_line_has_the_language_and_pages_of_its_sheet(cover: str, at: list[int], texts: list[str]) -> None:
    pages = {n: sum(f"P-{n} · " in " ".join(t.split()) for t in texts) for n in (0, 2, 3)}
    # The foot of the Urdu sheet is given back turned round: its pages are those that are left.
    pages[1] = sum(bool(t.strip()) for t in texts) - 1 - sum(pages.values())
    for number, native in enumerate(("English", "اردو", "தமிழ்", "বাংলা")):
        row = cover[at[number] :].split(" Person ")[0]
        assert says(row, native), "each sheet's language by its own name"
        assert row.removeprefix(f"Person Number{number} P-{number} Left eye").split()[1] == str(pages[number])


def test_every_sheet_begins_on_a_front_and_blank_backs_are_blank(printed, open_pdf):
    document = open_pdf(printed["batch"].parts[0])
    codes = {}
    for number, page in enumerate(document, 1):
        for code in zxingcpp.read_barcodes(page.render(scale=96 / 72).to_pil().convert("L")):
            if code.text.startswith("EYE1."):
                codes[code.text] = number
    assert list(codes) == [f"EYE1.{i}" for i in range(4)]
    assert all(number % 2 == 1 for number in codes.values())
    texts = _texts(open_pdf, printed)
    blanks = [i for i, text in enumerate(texts, 1) if not text.strip()]
    assert 2 in blanks, "the back of the cover"
    assert all(number % 2 == 0 for number in blanks)


def test_pages_are_counted_for_each_sheet(printed, open_pdf):
    texts = [t for t in _texts(open_pdf, printed) if "P-0 · Left eye" in " ".join(t.split())]
    assert [f"page {i} of {len(texts)}" in t for i, t in enumerate(texts, 1)] == [True] * len(texts)


def test_the_file_is_tagged_throughout(printed):
    assert b"pdfuaid:part" in printed["batch"].parts[0]


def test_without_duplex_no_blank_pages_are_added(make_content, open_pdf):
    sheet = BatchSheet("P-204", lambda: make_content(options=SheetOptions(calendar=False)))
    batch = render_batch([sheet, sheet], day=DAY, duplex=False, paper="Letter")
    texts = [p.get_textpage().get_text_bounded() for p in open_pdf(batch.parts[0])]
    assert all(text.strip() for text in texts)


def test_a_long_day_comes_in_parts_each_with_its_cover(make_content, open_pdf, monkeypatch):
    monkeypatch.setattr(batches, "MOST_PAGES", 5)  # a sheet has two
    sheet = BatchSheet("P-204", lambda: make_content(options=SheetOptions(calendar=False)))
    batch = render_batch([sheet] * 3, day=DAY)
    covers = [open_pdf(part)[0].get_textpage().get_text_bounded() for part in batch.parts]
    assert ["2 sheets · Part 1 of 2" in " ".join(c.split()) for c in covers] == [True, False]
    assert "1 sheet · Part 2 of 2" in " ".join(covers[1].split())


def test_a_day_on_which_nothing_could_be_printed_is_a_cover_alone(open_pdf):
    batch = render_batch([BatchSheet("P-90", _broken)], day=DAY, staff_language="fr")
    document = open_pdf(batch.parts[0])
    assert len(document) == 1
    assert batch.printed == ()
    assert "P-90" in document[0].get_textpage().get_text_bounded()


def test_the_process_of_a_batch_ends_with_it(monkeypatch):
    made = []
    monkeypatch.setattr(batches, "Typesetter", lambda **given: made.append(Typesetter(**given)) or made[-1])
    render_batch([], day=DAY)
    assert made[0]._child is None


def test_what_failed_is_told_in_the_staff_s_language_where_there_are_words(make_content, open_pdf):
    sheet = BatchSheet("P-204", make_content)
    broken = BatchSheet("P-90", _broken)
    told = render_batch([sheet, broken], day=DAY, staff_language="fr", tell=lambda line: "il faut la refaire")
    assert "il faut la refaire" in open_pdf(told.parts[0])[0].get_textpage().get_text_bounded()
    kept = render_batch([sheet, broken], day=DAY, staff_language="sw")
    assert "the drawn eye is the other one" in open_pdf(kept.parts[0])[0].get_textpage().get_text_bounded()
