"""The pages before printing come in every language, for the patient's words and for the staff's."""

from __future__ import annotations

import pytest

from followup.language.languages import LANGUAGES


@pytest.fixture
def drafted(house, routine, form_of):
    """A drafted plan in a clinic on SQLite: its address and the browser of whoever entered it."""
    house.sign_protocol()
    browser = house.log_in("counsellor")
    form = form_of(browser.get("/operations/new").text) | routine
    answer = browser.post("/operations/new", data=form)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"], browser


def test_the_draft_prints_as_a_pdf_by_page_and_by_json(drafted):
    plan, browser = drafted
    for address in (f"{plan}/draft.pdf", f"/api{plan}/draft.pdf"):
        answer = browser.get(f"{address}?language=hi&twin=ur")
        assert answer.content[:5] == b"%PDF-", (address, answer.status_code)
        assert 'filename="draft-K-104-1.pdf"' in answer.headers["content-disposition"]


def test_the_draft_comes_in_all_twelve_languages_by_page_and_by_json(drafted, monkeypatch):
    """In which words, and what is set: that these print in every language is tested in the sheets' room."""
    plan, browser = drafted
    set_ = []
    for desk in ("api.sheets", "counsellor.sheets"):
        monkeypatch.setattr(f"followup.desks.{desk}.render_pdf", lambda content: set_.append(content) or b"")
    for tag in LANGUAGES:
        for address in (f"{plan}/draft.pdf", f"/api{plan}/draft.pdf"):
            for asked in (f"language={tag}", f"language=en&twin={tag}"):
                assert browser.get(f"{address}?{asked}").status_code == 200, (address, asked)
                content = set_.pop()
                assert content.watermark, (address, asked)
                assert (content.twin or content).language == tag, (address, asked)


@pytest.mark.parametrize("staff", ["en", "ar", "ur"])
def test_the_pages_before_printing_open_whatever_the_staff_reads(staff, drafted):
    plan, browser = drafted
    headers = {"accept-language": staff}
    for tag in ("en", "ar", "ur"):
        assert browser.get(f"{plan}/preview?language={tag}", headers=headers).status_code == 200
        page = browser.get(f"{plan}/pages/1.png?language={tag}", headers=headers)
        assert page.content[:4] == b"\x89PNG"
