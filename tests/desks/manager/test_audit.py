"""The audit as page, paper and table: whose patients it counts, that none is named and no few are counted."""

from __future__ import annotations

import csv
import io

import pypdfium2
import pytest

from followup.clinical.record import parse_record
from followup.records.house.staff import bind_staff
from followup.records.people.patients import enter_record
from followup.records.store.sites import Site, put_site
from followup.records.views import SYSTEM

SPAN = {"begin": "2026-12-01", "end": "2027-03-01"}


@pytest.fixture
def audited(house):
    """Forty operations on one day, twelve with a torn capsule, all seen after six weeks."""
    with house.store.write(SYSTEM, house.clock.now) as unit:
        for number in range(40):
            eye = {"eye": "right", "eye_drawn": "right", "date": "2026-12-14", "surgeon": "Dr Iyer"}
            eye |= {"procedure": "phacoemulsification", "capsule_torn": number < 12}
            look = {"eye": "right", "date": "2027-02-20", "vision": "6/9" if number < 25 else "6/36"}
            record = {
                "patient": {"code": f"K-{number}", "name": f"Asha Rao {number}", "birth_year": 1950},
                "operations": [eye],
                "reviews": [look],
            }
            enter_record(unit, record=parse_record(record))
    return house


def _rows(answer):
    return list(csv.DictReader(io.StringIO(answer.content.decode())))


def test_page_paper_table_and_programs_tell_the_same(audited, words_of):
    manager = audited.log_in("manager")
    page = words_of(manager.get("/outcomes/audit", params=SPAN).text)
    assert "Capsule torn 40 12 30.0 % (18.1–45.4) 0" in page
    assert "from day 40 on, as presented 40 25 15 0 62.5 % (47.0–75.8)" in page
    assert "What this audit can't say" in page
    table = _rows(manager.get("/outcomes/audit.csv", params=SPAN))
    torn = next(row for row in table if row["measure"] == "capsule torn")
    assert (torn["count"], torn["total"], torn["percent"]) == ("12", "40", "30.0")
    given = manager.get("/api/outcomes/audit", params=SPAN).json()
    assert [row["count"] for row in given if row["measure"] == "capsule torn"] == [12]
    paper = manager.get("/outcomes/audit.pdf", params=SPAN)
    assert paper.headers["content-type"] == "application/pdf"
    text = "".join(one.get_textpage().get_text_bounded() for one in pypdfium2.PdfDocument(paper.content))
    assert "30.0 % (18.1–45.4)" in text
    assert "can't say" in text.replace("’", "'")


def test_nobody_is_named_and_nothing_small_is_told(audited):
    manager = audited.log_in("manager")
    narrow = {"begin": "2026-12-01", "end": "2026-12-13"}
    for address in ("/outcomes/audit", "/outcomes/audit.csv", "/api/outcomes/audit"):
        assert "Rao" not in manager.get(address, params=SPAN).text
        assert "K-3" not in manager.get(address, params=SPAN).text
        assert manager.get(address, params=narrow).status_code == 200


def test_a_span_that_ends_before_it_begins_is_refused(audited):
    manager = audited.log_in("manager")
    turned = {"begin": "2027-02-01", "end": "2027-01-01"}
    for address in ("/outcomes/audit", "/outcomes/audit.pdf", "/api/outcomes/audit"):
        answer = manager.get(address, params=turned)
        assert answer.status_code == 422
        assert "no audit from" in answer.text


def test_whoever_works_at_one_site_counts_its_patients_alone(audited):
    with audited.store.write(SYSTEM, audited.clock.now) as unit:
        north = put_site(unit, Site(0, "NORTH", "North room", phone_day="+44 20 7946 0177"))
        bind_staff(unit, login="surgeon", site=north.id)
        unit.log("sites made", "clinic")
    table = _rows(audited.log_in("surgeon").get("/outcomes/audit.csv", params=SPAN))
    assert next(row for row in table if row["table"] == "operations")["count"] == "0"
