"""The paper as it was when somebody last looked at it: every word, line and drawing in its place.

A pin says only "this did not change": whether it is right is for the other tests, and for whoever looks at
the pages before pinning them anew. It is there because a layout has hundreds of small decisions, of which
each could be lost without a sentence missing. The sheets are chosen (see ``pinned_sheets``): together they
reach every part of the layouts. After a change that is meant:

    python tests/sheets/renew_pins.py --look FOLDER     # the pages as PDF files, to look at
    python tests/sheets/renew_pins.py                   # and then the pins, to read as a diff
"""

from __future__ import annotations

from pathlib import Path

import pytest
from outline import outline
from paper import refusal, set_
from pinned_sheets import BY_NAME, PROTOCOLS, refused
from pins import FOLDER, differences, pinned, pinned_versions, versions
from time_lines import DRAWINGS

CONSTRAINTS = Path(__file__).resolve().parents[2] / ".ci" / "constraints.txt"
RENEW = "if it is meant: look at the pages, then python tests/sheets/renew_pins.py"


def _unchanged(name: str, now: list[str]) -> None:
    found = differences(pinned(name), now, exactly=versions() == pinned_versions())
    assert not found, "\n".join([f"{name} no longer comes out as it was looked at; {RENEW}", *found])


@pytest.mark.parametrize("name", BY_NAME)
def test_a_sheet_comes_out_as_it_was_looked_at(name, formulary):
    _unchanged(name, outline(set_(BY_NAME[name](formulary))))


@pytest.mark.parametrize("name", PROTOCOLS)
def test_a_protocol_comes_out_as_it_was_looked_at(name):
    _unchanged(name, outline(set_(PROTOCOLS[name])))


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_drawing_comes_out_as_it_was_looked_at(name):
    """To the letter: whatever draws it is our own."""
    found = differences(pinned(name), DRAWINGS[name](), exactly=True, to_the_letter=True)
    assert not found, "\n".join([f"{name} is no longer drawn as it was looked at; {RENEW}", *found])


def test_what_does_not_fit_is_refused_for_the_same_reason(formulary):
    _unchanged("refused", [f"{what}: {refusal(job)}" for what, job in refused(formulary).items()])


def test_every_pin_is_of_a_sheet_that_is_still_set():
    held = {path.stem for path in FOLDER.glob("*.txt")}
    assert held == {*BY_NAME, *PROTOCOLS, *DRAWINGS, "refused", "made_with"}


def test_the_pins_were_made_with_the_versions_that_the_tests_are_run_with():
    """Else their places would be compared nowhere."""
    lines = [line.split("==") for line in CONSTRAINTS.read_text("utf-8").splitlines() if "==" in line]
    constrained = {name.lower(): version for name, version in lines}
    made_with = pinned_versions()
    assert {"typst", "fontpkg-noto-sans", "pypdfium2", "pikepdf", "qrcode"} <= made_with.keys()
    assert made_with == {name: constrained[name] for name in made_with}, RENEW


def test_a_shift_of_a_fifth_of_a_millimetre_is_seen_and_a_hair_is_not():
    line = "15.0 33.0 11.0a | By night: 0.5%"
    same = dict.fromkeys(["15.1 33.0 11.0a | By night: 0.5%", "15.0 32.9 11.0a | By night: 0.5%"])
    assert [differences([line], [now], exactly=True) for now in same] == [[], []]
    other = (
        "15.2 33.0 11.0a | By night: 0.5%",
        "15.0 33.0 12.0a | By night: 0.5%",
        "15.0 33.0 11.0b | By night: 0.5%",
        "15.0 33.0 11.0a | By night: 0.6%",
        "15.0 33.0 11.0a aside | By night: 0.5%",
    )
    for now in other:
        assert differences([line], [now], exactly=True) == [
            "--- pinned",
            "+++ now",
            "@@ -1 +1 @@",
            f"-{line}",
            f"+{now}",
        ]
    assert differences([line, line], [line], exactly=True)


def test_with_another_typesetter_words_and_what_is_read_out_are_still_compared():
    was = [
        "15.0 33.0 11.0a | By night: call",
        "15.0 39.0 11.0a | us.",
        "read out in en | Title",
        "Figure 1 alt 'Left eye'",
    ]
    moved = ["15.0 33.0 11.0a | By night: call us.", "read out in en | Title", "Figure 2 alt 'Left eye'"]
    assert differences(was, moved, exactly=False) == []
    assert differences(was, moved, exactly=True)
    said = [line.replace("night", "day") for line in moved]
    mute = [line.replace("Left", "Right") for line in moved]
    assert [bool(differences(was, now, exactly=False)) for now in (said, mute)] == [True, True]
