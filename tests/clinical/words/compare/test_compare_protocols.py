"""Differences between two protocols in words, and what they do to patients."""

from __future__ import annotations

import shutil

import pytest

from followup.clinical.protocol.load import SAMPLE, load_protocol
from followup.clinical.record import parse_record
from followup.clinical.words.protocols_compared import compare_protocols, effect_on


@pytest.fixture
def other(tmp_path, protocol):
    """``other("protocol.toml", old, new)``: the sample protocol with one text changed."""

    def changed(file, old, new, more=""):
        folder = tmp_path / "own"
        shutil.copytree(SAMPLE, folder, dirs_exist_ok=True)
        text = (folder / file).read_text("utf-8")
        assert old in text
        (folder / file).write_text(text.replace(old, new, 1) + more, "utf-8")
        return load_protocol(folder)

    return changed


def test_a_protocol_does_not_differ_from_itself(protocol):
    assert compare_protocols(protocol, protocol) == ()


def test_a_week_of_a_taper_is_named_as_a_week(protocol, other):
    new = other("protocol.toml", '["2-hourly", 4], [6, 7]', '["2-hourly", 4], [5, 7]')
    assert compare_protocols(protocol, new) == (
        "Taper U, week 2: 6 a day becomes 5 a day.",
        "Taper U has 7 drops fewer: 290 drops.",
    )
    assert compare_protocols(new, protocol)[0] == "Taper U, week 2: 5 a day becomes 6 a day."


def test_days_that_are_no_whole_week_are_named_as_days(protocol, other):
    new = other("protocol.toml", "steps = [[4, 6]]", "steps = [[4, 5]]")
    said = compare_protocols(protocol, new)
    told = [line for line in said if " becomes " not in line or line.startswith("Taper RB, day")]
    assert told == [
        "Taper RB, day 6: 4 a day becomes none.",
        "Taper RB is 1 day shorter: 5 days.",
        "Taper RB has 4 drops fewer: 20 drops.",
    ]
    # The sentences that tell the length follow it.
    assert any("6 days of the potent drop" in line and "5 days of the potent drop" in line for line in said)


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        (
            "rules-2-needs.toml",
            'kind = "wound", earliest = "5", target = "7", latest = "9"',
            'kind = "wound", earliest = "5", target = "7", latest = "10"',
            'Rule week-one, need, wound, window: "5-7-9" becomes "5-7-10".',
        ),
        ("protocol.toml", "price = 100", "price = 120", "Rounds of the day, price: 100 becomes 120."),
        ("protocol.toml", 'version = "1"', 'version = "2"', 'Protocol, version: "1" becomes "2".'),
        (
            "protocol.toml",
            'nsaid = "bromfenac-0-09"',
            'nsaid = "ketorolac-0-5"',
            "The usual nsaid is ketorolac-0-5 instead of bromfenac-0-09.",
        ),
        (
            "review.toml",
            "senior_cells_from_day = 2",
            "senior_cells_from_day = 3",
            "Reviews, settings, senior cells from day: 2 becomes 3.",
        ),
        (
            "review.toml",
            'eye = "quiet"\nfrom_day = 14\ncells = "0.5+"',
            'eye = "quiet"\nfrom_day = 14\ncells = "0"',
            'Reviews, expected, quiet 14, cells: "0.5+" becomes "0".',
        ),
        (
            "rules-1-courses.toml",
            'unless = ["child", "depot_shortens", "responder_quiet"]',
            'unless = ["child", "depot_shortens"]',
            'Rule steroid-routine, unless: "child", "depot_shortens", "responder_quiet" becomes "child", '
            '"depot_shortens".',
        ),
        (
            "cautions.toml",
            'id = "beta-blocker.asthma"',
            'id = "beta-blocker.asthma-too"',
            "Caution beta-blocker.asthma is gone.",
        ),
    ],
)
def test_one_changed_line_is_told_in_one_sentence(protocol, other, file, old, new, said):
    assert said in compare_protocols(protocol, other(file, old, new))


def test_a_rule_added_and_a_rule_removed_are_told(protocol, other):
    more = """
[[rule]]
id = "look-at-day-three"
when = ["glaucoma"]
need = { id = "third-day", kind = "pressure", earliest = "3", target = "3", latest = "4" }
because = "We look early."
source = "our own judgement"
mark = "C"
"""
    new = other("rules-2-needs.toml", "[[rule]]", "[[rule]]", more)
    assert compare_protocols(protocol, new) == ("Rule look-at-day-three is new: We look early.",)
    assert compare_protocols(new, protocol) == ("Rule look-at-day-three is gone.",)


def test_the_effect_on_patients_is_told_by_name(protocol, other, case):
    new = other("protocol.toml", "[4, 7], [3, 7], [2, 7], [1, 7]", "[4, 7], [3, 7], [2, 7], [1, 14]")
    records = {name: parse_record(case(name)) for name in ("wanjiru", "li")}
    routine, child = effect_on(records, protocol, new)
    assert routine.name == "wanjiru"
    assert "Dexamethasone 0.1%, right eye: the last day is 6 April 2026, 7 days later." in routine.differences
    assert child.differences == ()


def test_a_patient_whom_the_other_protocol_can_not_plan_is_told(protocol, other, case):
    lost = other("formulary.toml", 'id = "dexamethasone-injection"', 'id = "dexamethasone-other"')
    (told,) = effect_on({"peter": parse_record(case("peter"))}, protocol, lost)
    assert told.differences[0].startswith("The new protocol makes no plan: no medicine")
