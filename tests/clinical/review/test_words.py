"""What a proposal says is so: its figures come from the rows, its reasons are about this record."""

from __future__ import annotations

import re
import shutil
import tomllib

import pytest

from followup.clinical.protocol.load import SAMPLE, load_protocol
from followup.clinical.record import parse_findings
from followup.clinical.review.review import review

UVEITIC = {
    "uveitis": {
        "kind": "anterior",
        "last_active": "2025-06-01",
        "herpetic": False,
        "infection_excluded": True,
    }
}
SAID = {
    "text",
    "without_steroid",
    "call",
    "senior_call",
    "nsaid_text",
    "steroid_text",
    "bare_text",
    "no_raise",
}


def sentences(data):
    if isinstance(data, dict):
        for key, value in data.items():
            if key in SAID and isinstance(value, str):
                yield value
            else:
                yield from sentences(value)
    elif isinstance(data, list):
        for each in data:
            yield from sentences(each)


def test_no_sentence_of_the_review_rules_holds_a_figure():
    data = tomllib.loads((SAMPLE / "review.toml").read_text("utf-8"))
    found = list(sentences(data))
    assert len(found) > 60
    assert [text for text in found if re.search(r"\d", text)] == []


@pytest.fixture
def changed(tmp_path):
    """A protocol of the sample's folder with lines of the review rules replaced."""

    def make(*pairs):
        folder = tmp_path / "protocol"
        if not folder.exists():
            shutil.copytree(SAMPLE, folder)
        path = folder / "review.toml"
        text = path.read_text("utf-8")
        for old, new in pairs:
            assert old in text, old
            text = text.replace(old, new)
        path.write_text(text, "utf-8")
        return load_protocol(folder)

    return make


def test_every_sentence_says_the_figures_that_the_protocol_has(changed, look):
    other = changed(
        ("see_again = [2, 3, 4]", "see_again = [5, 7, 9]"),
        ("step_back_days = 7", "step_back_days = 10"),
        ("least_count = 8", "least_count = 9"),
        ("look = [6, 7, 8]", "look = [4, 5, 6]"),
        ("steroid = [[4, 28], [3, 7]", "steroid = [[5, 21], [3, 7]"),
        ("nsaid_days = 42", "nsaid_days = 60"),
        ("days = [26, 28, 30]", "days = [20, 21, 22]"),
        ("count = 4, days = 6", "count = 5, days = 8"),
    )

    def titles(day, **found):
        seen = look(day, **found)
        outcome = review(seen.record, other, seen.record.reviews[-1])
        return {p.id: p.title for p in outcome.proposals}

    assert "to 9 a day" in titles(7, cells="2+")["raise"]
    assert "in 5 to 9 days" in titles(7, cells="2+")["raise"]
    assert "for 10 days" in titles(14, cells="1+", before={7: {"cells": "1+"}})["hold"]
    assert "in 4 to 6 days" in titles(14, pressure=23)["pressure-unchanged"]
    macula = titles(35, macula="oedema")["macular-oedema"]
    assert "2 a day for 60 days" in macula
    assert "5 a day for 21 days" in macula
    assert "in 20 to 22 days" in macula
    assert "5 a day for 8 days" in titles(4, leak="slow")["leak"]


def test_the_first_column_of_the_pressure_table_ends_when_the_protocol_says(changed, look):
    other = changed(("early_until_day = 6", "early_until_day = 9"))
    seen = look(8, pressure=27)
    weaker = [p.id for p in seen.outcome.proposals if p.about == "pressure"]
    assert "pressure-weaker" in weaker
    outcome = review(seen.record, other, seen.record.reviews[-1])
    assert [p.id for p in outcome.proposals if p.about == "pressure"] == ["pressure-unchanged"]


def test_a_response_is_one_by_its_figures_and_not_by_the_words_that_say_so(look, someone):
    event = {"bleeding": True}
    eye = {"glaucoma": True, "pressure_before": 12}
    seen = look(14, someone(eye=eye, operation=event), pressure=31)
    ways = [p.id for p in seen.outcome.proposals if p.about == "pressure"]
    assert ways == ["pressure-stop", "pressure-weaker"]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (("Measure again {again}.", "Measure again {soon}."), "no such value"),
        (("Measure again {again}.", "Measure again {again."), "brace"),
        (("; {give}; looked at", "; {gave}; looked at"), "no such value"),
        (('steroid_text = "Macular', 'text2 = "Macular'), "text2"),
        (("pressure_drop_last_look = [3, 1, 0]", "pressure_drop_last_look = [0, 1, 3]"), "the most first"),
        (("count = 4\nover = 40", "count = 4"), "goes by mouth"),
    ],
)
def test_words_that_name_what_their_row_has_not_are_refused(changed, line, says):
    with pytest.raises(Exception, match=says):
        changed(line)


def test_if_you_sign_says_the_steps_the_last_day_and_how_much_later_it_is(look, someone):
    seen = look(24, someone(eye=UVEITIC), cells="2+")
    assert seen.proposal("raise").if_signed == (
        "If you sign: Dexamethasone 0.1% 8 a day for 7 days from 27 March 2026, then 6 for 7 days, then 5 "
        "for 7 days, then 4 for 14 days, then 3 for 14 days, then 2 for 14 days, then 1 for 14 days; last "
        "day 11 June 2026, 24 days later; inflammation between 28 March 2026 and 30 March 2026."
    )


def test_the_reason_of_a_proposal_is_about_this_record(look, someone):
    seen = look(24, someone(eye=UVEITIC), cells="2+", before={14: {"cells": "0.5+"}})
    (reason,) = seen.proposal("raise").reasons
    assert reason.because == (
        "Cells 2+ on day 24, 1+ or fewer expected in an eye with uveitis. Last time they were 0.5+. "
        "Steroid taken now: 4 drops a day."
    )


def test_a_course_that_waits_for_an_answer_is_said_to_wait(look, someone):
    herpes = someone(eye={"herpetic_keratitis": {"year": 2019}})
    raised = look(7, herpes, cells="2+").proposal("raise")
    assert any(text.startswith("Dexamethasone 0.1% waits for an answer:") for text in raised.cautions)


def test_going_on_with_a_taper_that_is_held_says_what_it_waits_for(look, someone):
    herpes = someone(eye={"herpetic_keratitis": {"year": 2019}})
    going_on = look(7, herpes, cells="1+").proposal("go-on")
    assert any(text.startswith("Dexamethasone 0.1% waits for an answer:") for text in going_on.cautions)
    assert look(7, cells="1+").proposal("go-on").cautions == ()


def test_nothing_that_people_read_of_a_look_is_an_id(look, someone):
    for found in ({"cells": "2+"}, {"pressure": 45}, {"macula": "oedema", "pressure": 24}, {"leak": "fast"}):
        outcome = look(14, someone(eye={"glaucoma": True}), **found).outcome
        said = [
            text
            for p in outcome.proposals
            for text in (p.title, p.if_signed, *p.cautions, *(o.name for o in p.offers))
        ]
        said += [text for p in outcome.proposals for r in p.not_offered for text in (r.why,)]
        said += [r.because for p in outcome.proposals for r in p.reasons]
        for text in said:
            assert not re.search(r"\b\w+[:_]\w+|\w+-\d-\d|\d{4}-\d{2}-\d{2}", text), text


def test_findings_of_the_look_stay_as_given(look):
    assert parse_findings({"eye": "right", "date": "2026-03-09", "drops_taken": "lost"}).drops_taken == "lost"
