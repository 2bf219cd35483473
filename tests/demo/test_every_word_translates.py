"""Every page of the sample clinic in a language that puts brackets around each message: what stands
outside of them could not be translated."""

from __future__ import annotations

import re
import shutil
import sys
from collections import Counter, deque
from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser

import pytest
from httpx2 import Client
from one_app import AppOf, browser_of
from sqlmodel import select

from followup.clinical.protocol.load import load_protocol
from followup.demo import build, clinic
from followup.desks.door.hand import Desk
from followup.desks.page.pages import environment
from followup.desks.words import texts as words
from followup.desks.words.extraction import desk_messages
from followup.language.catalogues import Review, Translator
from followup.language.languages import LANGUAGES
from followup.recall.codes.keyring import load_keyring
from followup.records.house.clinics import get_clinic
from followup.records.store.engine import sqlite_url
from followup.records.store.store import Store
from followup.records.tables.people import PatientRow

OPEN, CLOSE = "\u2985", "\u2986"
VOID = {"br", "input", "meta", "link", "img", "hr", "path", "circle", "line", "rect", "polyline", "ellipse"}
# Names, code and words in a language of their own are marked as such; they are nobody's to translate.
APART = {"script", "style", "bdi", "textarea", "option", "title"}
SHOWN = ("aria-label", "placeholder", "alt", "data-confirm")
MOST_OF_A_KIND = 2


def bracketed() -> Translator:
    arabic = LANGUAGES["ar"]
    messages = {}
    for message in desk_messages():
        if isinstance(message.id, str) and message.id:
            messages[(None, message.id)] = (f"{OPEN}{message.id}{CLOSE}",)
        elif message.id:
            one = f"{OPEN}{message.id[1]}{CLOSE}"
            messages[(None, message.id[0])] = (one,) * len(arabic.categories)
    return Translator(arabic, "desk", Review(), messages)


class Texts(HTMLParser):
    """The texts of a page outside of what is marked as another language or a name, and its links."""

    def __init__(self) -> None:
        super().__init__()
        self._around: list[tuple[str, bool]] = []
        self.texts: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag == "a" and (found.get("href") or "").startswith("/"):
            self.links.append(str(found["href"]))
        hidden = self._hidden
        apart = hidden or tag in APART or ("lang" in found and tag != "html") or found.get("dir") == "ltr"
        if not apart:
            self.texts += [str(found[name]) for name in SHOWN if found.get(name)]
        if tag not in VOID:
            self._around.append((tag, apart))

    def handle_endtag(self, tag: str) -> None:
        while self._around and self._around.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and not self._hidden:
            self.texts.append(data.strip())

    @property
    def _hidden(self) -> bool:
        return bool(self._around) and self._around[-1][1]


def outside(text: str) -> str:
    """What of a text stands outside every bracket."""
    while (shorter := re.sub(f"{OPEN}[^{OPEN}{CLOSE}]*{CLOSE}", " ", text)) != text:
        text = shorter
    # A sentence of a drawing may go on in the next line.
    return re.sub(f"{OPEN}[^{CLOSE}]*$|^[^{OPEN}]*{CLOSE}", " ", text)


def names(store: Store) -> set[str]:
    """The words that are names: of people, the clinic, medicines and languages."""
    protocol = load_protocol()
    with store.read() as session:
        people = session.exec(select(PatientRow.name)).all()
        house = get_clinic(session).name
    said = [
        *people,
        house,
        *(member.name for member in clinic.STAFF),
        *(medicine.label for medicine in protocol.formulary.values()),
        *(language.english for language in LANGUAGES.values()),
        *(language.native for language in LANGUAGES.values()),
    ]
    # A unit, and a vision as the examiner wrote it.
    said += ["mmHg", "hand movements"]
    return {word for text in said for word in re.findall(r"[A-Za-z]{3,}", text)}


def pages(browser: Client) -> Iterator[tuple[str, Texts]]:
    """Every page that can be reached by links, but only a few of each kind."""
    waiting, seen, kinds = deque(["/"]), {"/"}, Counter[str]()
    while waiting:
        url = waiting.popleft()
        kind = re.sub(r"[^/]*\d[^/]*", "#", url.partition("?")[0])
        kinds[kind] += 1
        # What ends like a file is a sheet, a picture or a list: nothing of the desk's own.
        if kinds[kind] > MOST_OF_A_KIND or "." in kind.rpartition("/")[2]:
            continue
        answer = browser.get(url)
        if not answer.headers.get("content-type", "").startswith("text/html"):
            continue
        page = Texts()
        page.feed(answer.text)
        yield url, page
        fresh = [link for link in page.links if link not in seen]
        seen.update(fresh)
        waiting.extend(fresh)


@pytest.fixture(scope="module")
def speaking_brackets() -> Iterator[None]:
    patch = pytest.MonkeyPatch()
    translator = bracketed()
    for module in [m for name, m in sys.modules.items() if name.startswith("followup.")]:
        if hasattr(module, "desk_translator"):
            patch.setattr(module, "desk_translator", lambda _language: translator)
    assert words.desk_translator("ar") is translator
    environment.cache_clear()
    yield
    patch.undo()
    environment.cache_clear()


@pytest.mark.parametrize("login", [member.login for member in clinic.STAFF])
def test_no_word_of_a_page_stands_outside_of_what_is_translated(made, speaking_brackets, login, tmp_path):
    # A copy: logging in writes, and other tests read what the sample clinic's own staff wrote.
    copy = tmp_path / "followup.sqlite3"
    shutil.copy(made.folder / copy.name, copy)
    store = Store.open(sqlite_url(copy))
    now = datetime(made.today.year, made.today.month, made.today.day, 6, tzinfo=UTC)
    desk = Desk(store, load_protocol(), load_keyring(made.folder / "recall-keys.json"), lambda: now)
    browser = browser_of(AppOf(desk), "http://127.0.0.1", raises=True)
    browser.follow_redirects = True
    assert browser.post("/log-in", data={"login": login, "password": build.PASSWORD}).status_code == 200
    known, left, looked_at = names(store), {}, 0
    for url, page in pages(browser):
        looked_at += 1
        for text in page.texts:
            strange = [w for w in re.findall(r"[A-Za-z]{3,}", outside(text)) if w not in known]
            if strange:
                left.setdefault(text[:120], url)
    assert looked_at > 5
    assert not left, "\n".join(f"{url}: {text}" for text, url in left.items())
