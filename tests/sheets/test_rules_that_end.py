"""A rule with a last day stands under it, to the end of that day; a doctor's word ends others."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from leaf_rows import home, plain, told
from routine_plans import OPERATED

from followup.clinical.protocol.load import load_protocol
from followup.language.dates import long_date
from followup.language.languages import language
from followup.sheets.content import SheetOptions
from followup.sheets.wording import ADVICE, DOCTOR_ENDS

AFTERCARE = load_protocol().aftercare
FORMULARY = load_protocol().formulary
some = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
ENGLISH = language("en")
operations = st.fixed_dictionaries(
    {
        "cut_mm": st.sampled_from([2.4, 6.5]),
        "air_or_gas": st.sampled_from(["none", "air", "gas"]),
        "bandage_lens": st.booleans(),
    }
)


def _holding(content_of, make_record, plan, changes: dict, printed: date):
    """The sheet, and the protocol's rules of everyday life that hold on the day."""
    record = make_record()
    operation = record.operations[0].model_copy(update=changes)
    record = record.model_copy(update={"operations": (operation,)})
    rules = AFTERCARE.holding(plan, record, FORMULARY, printed)
    content = content_of(record=record, plan=plan, printed_on=printed)
    return content, [rule for rule in rules if rule.advice.place == "paper"]


@some
@given(changes=operations, later=st.integers(0, 60))
def test_each_rule_with_a_last_day_stands_under_exactly_that_day(
    changes, later, make_content, make_record, make_plan
):
    printed = OPERATED + timedelta(days=later)
    content, rules = _holding(make_content, make_record, make_plan(approved=True), changes, printed)
    groups = home(content)
    for rule in rules:
        said = ADVICE[rule.advice.id]
        over = [heading for heading, lines in groups.items() if said in lines]
        ends = rule.until is not None and rule.advice.id not in DOCTOR_ENDS
        assert over == [f"Until {long_date(rule.until, ENGLISH)}:" if ends else "From now on:"], said
    assert sum(map(len, groups.values())) == len(rules), "each stands once, and nothing else does"


@some
@given(changes=operations, later=st.integers(0, 60))
def test_the_days_stand_in_order_and_none_is_over(changes, later, make_content, make_record, make_plan):
    printed = OPERATED + timedelta(days=later)
    content, _ = _holding(make_content, make_record, make_plan(approved=True), changes, printed)
    days = {long_date(printed + timedelta(days=n), ENGLISH): n for n in range(400)}
    headings = [plain(group.heading) for group in content.home]
    after = [days[h.removeprefix("Until ").removesuffix(":")] for h in headings if h.startswith("Until ")]
    assert after == sorted(set(after))
    assert headings[len(after) :] == ["From now on:"][: len(headings) - len(after)]
    assert all(group.lines for group in content.home)


def test_what_a_doctors_word_ends_is_under_no_day(make_content, make_record):
    record = make_record()
    gas = record.operations[0].model_copy(update={"air_or_gas": "gas"})
    content = make_content(record=record.model_copy(update={"operations": (gas,)}))
    assert "no-flying" in DOCTOR_ENDS
    over = [heading for heading, lines in home(content).items() if any("Do not fly" in x for x in lines)]
    assert over == ["From now on:"]


def test_a_rule_holds_to_the_end_of_its_last_day(make_content):
    last = date(2026, 6, 8)
    for printed, there in ((last, True), (last + timedelta(days=1), False)):
        content = make_content(printed_on=printed)
        assert ("Until Monday 8 June 2026:" in home(content)) is there
        assert ("Wear the eye shield every night." in told(content)) is there


def test_each_rule_that_is_drawn_has_its_drawing_beside_it_and_none_without_pictures(make_content):
    drawn = {
        line: picture
        for group in make_content(options=SheetOptions(pictures=True)).home
        for line, picture in zip(group.lines, group.pictures, strict=True)
    }
    assert drawn["Wear the eye shield every night."] == "shield"
    assert drawn["If you fast, go on with the drops."] == ""
    assert {picture for group in make_content().home for picture in group.pictures} == set()
