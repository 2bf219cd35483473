"""The three days in Arabic: every page runs from right to left, and no English word is left on it."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from followup.clinical.protocol.load import load_protocol
from followup.language.catalogues import translator
from followup.language.languages import LANGUAGES

PASSWORD = "a long enough password"
SIZES = {"desk": (1366, 768), "phone": (390, 844)}
# Terms and signs that stand in Latin letters in an Arabic chart too.
TERMS = "mmHg NSAID Letter Riverbend Clinic counsellor"
# What is isolated as it is cited, and names with signs in them such as right:first-look or operations.0.eye.
APART = re.compile("\u2068[^\u2069]*\u2069|[a-z_]+\\d*(?:[.:_-][a-z0-9_]+)+")
# What of a page is in the staff's language: not names, codes and other languages, which are marked.
STAFFS_OWN = """() => {
  const apart = "bdi, [dir=ltr], script, style, textarea, datalist, option, [lang]:not(html)";
  const walk = document.createTreeWalker(document, NodeFilter.SHOW_TEXT);
  const found = [];
  while (walk.nextNode())
    if (!walk.currentNode.parentElement.closest(apart)) found.push(walk.currentNode.data);
  for (const name of ["aria-label", "alt", "placeholder", "title"])
    for (const one of document.querySelectorAll(`[${name}]`))
      if (!one.closest(apart)) found.push(one.getAttribute(name));
  return found;
}"""
# Grades and ranges whose signs do not stand where they were written: 2+ must never read +2.
TURNED = """() => {
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const found = [];
  const box = (node, at) => {
    const range = document.createRange();
    range.setStart(node, at); range.setEnd(node, at + 1);
    return range.getBoundingClientRect();
  };
  while (walk.nextNode())
    for (const hit of walk.currentNode.data.matchAll(/\\d[+]|\\d-(?=\\d)/g)) {
      const [digit, sign] = [0, 1].map((i) => box(walk.currentNode, hit.index + i));
      if (digit.width && digit.top === sign.top && digit.left > sign.left) found.push(walk.currentNode.data);
    }
  return found;
}"""


def ar(message: str) -> str:
    """The words of the Arabic page."""
    said = translator("ar", "desk").gettext(message)
    assert said != message
    return said


def names() -> set[str]:
    """Words that are nobody's to translate."""
    labels = (medicine.label for medicine in load_protocol().formulary.values())
    tongues = (f"{language.english} {language.native}" for language in LANGUAGES.values())
    return set(re.findall(r"[A-Za-z]{4,}", " ".join((*labels, *tongues, TERMS))))


def english_on(page, known: set[str]) -> list[str]:
    """Every text of the page with a Latin word that is no name."""
    texts = page.evaluate(STAFFS_OWN)
    return [text.strip() for text in texts if set(re.findall(r"[A-Za-z]{4,}", APART.sub("", text))) - known]


def press(who, message: str) -> None:
    """Press the button or follow the link that says ``message``, by its Arabic words."""
    words = re.compile(rf"^\s*{re.escape(ar(message))}\s*$")
    found = who.page.locator("main").locator("button, a").filter(has_text=words, visible=True)
    who.follow_by(found.first.click)


def sign(who, message: str) -> None:
    who.page.fill("#password", PASSWORD)
    press(who, message)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_three_days_in_arabic(served, person, size):
    served.speak("ar")
    known, left = names(), {}
    who = person(SIZES[size])
    page = who.page

    def sees(name: str) -> None:
        who.sees_a_sound_page(f"ar-{size}-{name}")
        assert page.evaluate("[document.documentElement.lang, document.dir]") == ["ar", "rtl"]
        assert page.evaluate(TURNED) == []
        left.update(dict.fromkeys(english_on(page, known), page.url))

    who.go("/log-in")
    sees("log-in")
    who.log_in("counsellor")
    page.fill("#lines", "K-104، أمينة يوسف، العين اليمنى")
    press(who, "Store the list")
    sees("operations")
    press(who, "Enter record")
    who.enter_routine(name="أمينة يوسف", language="ar")
    expect(page.locator("#preview")).to_contain_text(ar("as on the list"))
    sides = [page.locator(f".mirror [value={eye}]").bounding_box()["x"] for eye in ("left", "right")]
    assert sides == sorted(sides), "the mirror must not turn round with the page"
    sees("record")
    press(who, "Save record and see plan")
    plan = page.url
    sees("plan")
    who.log_out()

    who.log_in("surgeon")
    page.check("input[name='plan']")
    sees("waiting")
    sign(who, "Sign ticked plans")
    sees("signed")

    who.comes_as("counsellor", f"{urlsplit(plan).path}/preview")
    page.locator(".pages img").first.evaluate("picture => picture.decode()")
    sees("preview")
    who.prints()
    page.locator("input[name='shown']").first.check()
    page.fill("#to", "الابنة")
    press(who, "Mark handed over")
    code = page.locator(".code").inner_text()
    sees("sheet")
    who.comes_as("pharmacy", "/bottles")
    sees("bottles")

    served.on(1, 4)
    who.comes_as("reception")
    sees("today")
    page.fill("#text", code)
    who.press()
    expect(page.locator("h1")).to_contain_text("أمينة يوسف")
    sees("found")
    press(who, "Mark arrived")
    expect(page.locator("main")).to_contain_text(ar("Here now"))
    sees("arrived")
    press(who, "Has left")

    served.on(7)
    who.comes_as("surgeon", "/patients/K-104/eyes/right")
    who.looks_at_cells("2+", "18")
    sees("eye")
    press(who, "Store findings, see proposals")
    page.locator("input[name='take']").first.check()
    page.fill("#reason", "خلايا في اليوم السابع")
    press(who, "Show the effect")
    sees("look")
    press(who, "Store what is ticked, then sign")
    sees("changed")
    sign(who, "Sign plan")
    expect(page.locator("main")).to_contain_text(ar("signed, in force"))
    press(who, "Change steps")
    sees("steps")
    page.goto(f"{plan.rpartition('/')[0]}/2/against/1")
    sees("compare")
    who.go("/my-patients")
    sees("my-patients")

    # Nobody comes to the visit after that.
    served.on(20, 4)
    who.comes_as("reception", "/to-reach")
    sees("to-reach")
    who.follow(".reach .button")
    sees("call")
    press(who, "No answer")
    sees("reached")

    who.comes_as("manager", "/forecast")
    for path in ("forecast", "outcomes", "calendar", "staff", "messages", "help", "protocol"):
        who.go(f"/{path}")
        sees(path)
    assert not left, "\n".join(f"{url}: {text}" for text, url in left.items())
