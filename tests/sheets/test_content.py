"""What stands on a sheet: everything the patient needs, in words, and nothing that is not signed."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from leaf_rows import by_letter, home, plain, rows_of_days, rows_of_visits, told, visit_days

from followup.clinical.careplan import Caution, CheckGap, FirstDropDay, Question, Reason
from followup.clinical.day_plan import Bottle
from followup.errors import FollowupError
from followup.language.direction import without_marks
from followup.language.languages import LANGUAGES
from followup.sheets.content import sheet_language
from followup.sheets.wording import SIGNS

OPERATED = date(2026, 6, 1)
languages = pytest.mark.parametrize("tag", LANGUAGES)


def test_it_names_the_patient_the_eye_and_both_telephones(make_content):
    content = make_content()
    assert content.who.name == "Asha Verhoeven-Demo"
    assert content.who.age == "71 years old"
    assert content.face.words == "Left eye"
    assert content.face.treated == ("left",)
    assert [(t.label, t.number) for t in content.clinic.telephones] == [
        ("By day:", "+44 20 7946 0101"),
        ("By night:", "+44 20 7946 0102"),
    ]


def test_each_medicine_goes_down_by_dates(make_content):
    content = make_content()
    steroid = [(plain(row.dates), by_letter(content, row)["Sl"]) for row in rows_of_days(content)]
    assert steroid == [
        ("Tue 2 – Mon 8 June", ["06:00", "11:00", "17:00", "22:00"]),
        ("Tue 9 – Mon 15 June", ["06:00", "17:00", "22:00"]),
        ("Tue 16 – Mon 22 June", ["06:00", "17:00"]),
        ("Tue 23 – Mon 29 June", ["06:00"]),
    ]
    assert {b.bottle.letter: b.shake for b in content.bottles} == {"A": None, "N": None, "S": "Shake well"}


def test_the_rounds_stand_by_the_clock_with_bottles_in_order_of_use(make_content):
    content = make_content()
    first = rows_of_days(content)[0]
    # Solutions before the suspension.
    assert [(m.bottle.name, m.at) for m in first.marks] == [
        ("Moxifloxacin 0.5%", (True, True, True, True)),
        ("Bromfenac 0.09%", (True, False, True, False)),
        ("Prednisolone acetate 1%", (True, True, True, True)),
    ]
    assert [(c.time, c.part_words) for c in content.table.columns] == [
        ("06:00", "Early morning"),
        ("11:00", "Morning"),
        ("17:00", "Evening"),
        ("22:00", "Night"),
    ]


def test_an_ointment_comes_last_with_its_own_wait(make_content, make_plan):
    plan = make_plan(approved=True)
    courses = tuple(
        c.model_copy(update={"medicine": "chloramphenicol-ointment"}) if c.role == "antibiotic" else c
        for c in plan.courses
    )
    content = make_content(plan=plan.model_copy(update={"courses": courses}))
    assert rows_of_days(content)[0].marks[-1].bottle.kind == "ointment"
    assert content.table.rules == (
        "Start with the first bottle of the row and go on in the order shown.",
        "Ointment or gel comes last, 10 minutes after the drops.",
    )
    assert content.how_to.lines[-1] == "Between two bottles for the same eye wait at least 5 minutes."


def test_the_longest_wait_of_the_bottles_applies(make_content, formulary):
    slow = formulary["bromfenac-0-09"].model_copy(update={"wait_minutes": 10})
    formulary["bromfenac-0-09"] = slow
    assert "Between two bottles for the same eye wait at least 10 minutes." in make_content().how_to.lines


def test_each_visit_has_its_weekday_month_in_words_and_reason(make_content):
    content = make_content()
    assert [(plain(v.day), v.reason) for v in rows_of_visits(content)] == [
        ("Tue 2 June", "First check: how the eye is healing"),
        ("Mon 8 June", "Wound, swelling and eye pressure"),
        ("Mon 6 July", "Test of your sight, for glasses"),
    ]
    assert content.next_visit_heading == "Come again"
    assert content.next_visit.day == "Tuesday 2 June 2026"
    assert content.next_visit.reasons == ("First check: how the eye is healing",)


def _why(text: str) -> Reason:
    return Reason(rule=text, because=text, source="made up for the test", mark="C")


@pytest.mark.parametrize(
    ("at_work", "said"),
    [
        ("pressure", ["Eye pressure: the steroid can raise it"]),
        ("cornea", ["Front of the eye, seen with a dye"]),
        ("both", ["Eye pressure: the steroid can raise it", "Front of the eye, seen with a dye"]),
    ],
)
def test_a_visit_without_a_need_of_its_own_says_which_long_stretch_it_breaks(
    at_work, said, make_content, make_plan
):
    reasons = {"pressure": _why("steroid"), "cornea": _why("painkiller drop")}
    gaps = tuple(
        CheckGap(key=kind, eye="left", kind=kind, limit=14, from_count=1, reasons=(reason,))
        for kind, reason in reasons.items()
    )
    plan = make_plan(approved=True, gaps=gaps)
    mine = tuple(reasons.values()) if at_work == "both" else (reasons[at_work],)
    trips = (plan.trips[0].model_copy(update={"serves": (), "reasons": mine}),)
    content = make_content(plan=plan.model_copy(update={"trips": trips}))
    assert content.next_visit.reasons == tuple(said)
    assert rows_of_visits(content)[0].reason == said[0]


def test_a_visit_of_which_nothing_is_known_is_for_a_look(make_content, make_plan):
    plan = make_plan(approved=True)
    trips = (plan.trips[0].model_copy(update={"serves": ()}),)
    content = make_content(plan=plan.model_copy(update={"trips": trips}))
    assert content.next_visit.reasons == ("The doctor looks at your eye",)
    assert [row.reason for row in rows_of_visits(content)] == ["The doctor looks at your eye"]


def test_a_visit_at_another_place_says_where_and_when(make_content, make_plan):
    plan = make_plan(approved=True)
    away = {"place": "District eye unit", "decided": True}
    called = {"place": "Ward 3, side door", "hours": ("09:00", "11:00")}
    trips = tuple(
        trip.model_copy(update=more) for trip, more in zip(plan.trips, (called, away, {}), strict=False)
    )
    content = make_content(plan=plan.model_copy(update={"trips": trips}))
    assert [v.notes for v in rows_of_visits(content)] == [
        ("You are seen at: Ward 3, side door. Come between 09:00 and 11:00.",),
        ("You are seen at: District eye unit.",),
        (),
    ]
    assert content.next_visit.notes == rows_of_visits(content)[0].notes


def test_done_and_cancelled_visits_are_not_printed(make_content, make_plan):
    plan = make_plan(approved=True)
    states = ("fulfilled", "cancelled", "booked")
    trips = tuple(t.model_copy(update={"status": s}) for t, s in zip(plan.trips, states, strict=True))
    content = make_content(plan=plan.model_copy(update={"trips": trips}))
    assert visit_days(content) == ["Mon 6 July"]
    assert content.next_visit.day == "Monday 6 July 2026"


def test_a_later_bottle_stands_in_its_visits_row_and_on_its_own_line(make_content, make_plan):
    plan = make_plan(approved=True)
    second = Bottle(
        course="left:steroid",
        number=2,
        opened=date(2026, 6, 20),
        discard=date(2026, 7, 17),
        drops=20,
        handed_over=date(2026, 6, 8),
        handed_over_trip=2,
    )
    content = make_content(plan=plan.model_copy(update={"supply": (*plan.supply, second)}))
    handed = [
        [(given.words, [b.due for b in given.bottles]) for given in visit.handed]
        for visit in rows_of_visits(content)
    ]
    assert handed == [[], [("new bottle:", ["1 drop: Prednisolone acetate 1%, Left eye"])], []]
    lines = next(b.lines for b in content.bottles if b.bottle.letter == "S")
    assert [tuple(map(plain, (c.number, c.opened, c.discard, c.next))) for c in lines] == [
        ("1", "Tue 2 June", "Mon 29 June", "Mon 8 June"),
        ("2", "Sat 20 June", "Mon 29 June", ""),
    ]


def test_the_steroid_ends_on_a_day_in_words(make_content):
    assert make_content().steroid_ends == (
        "Left eye, Prednisolone acetate 1%: the last day is Monday 29 June 2026.",
    )


def test_a_held_course_is_shown_as_not_to_start_and_is_in_no_list(make_content, make_plan, all_texts):
    plan = make_plan(approved=True)
    courses = tuple(
        c.model_copy(update={"state": "held", "held_by": ("q",)}) if c.role == "nsaid" else c
        for c in plan.courses
    )
    content = make_content(plan=plan.model_copy(update={"courses": courses, "rounds": plan.rounds[2:]}))
    assert content.held is not None
    assert content.held.lines == (
        "Left eye, Bromfenac 0.09%: do not start it. The surgeon will tell you when.",
    )
    assert [b.bottle.letter for b in content.bottles] == ["A", "S"]


# Antibiotic to day 7, NSAID to day 14, steroid to day 28: on its last day a drop is still taken.
@pytest.mark.parametrize(
    ("later", "letters", "tables"),
    [
        *((6, ["A", "N", "S"], 4), (7, ["A", "N", "S"], 4), (8, ["N", "S"], 3)),
        *((14, ["N", "S"], 3), (15, ["S"], 2), (28, ["S"], 1), (29, [], 0)),
    ],
)
def test_a_drop_stands_on_the_sheet_to_the_end_of_its_last_day(make_content, later, letters, tables):
    content = make_content(printed_on=OPERATED + timedelta(days=later))
    assert sorted(b.bottle.letter for b in content.bottles) == letters
    assert len(rows_of_days(content)) == tables
    assert all(row.marks for row in rows_of_days(content))


def test_steroid_tablets_name_their_doctor_and_are_never_stopped_suddenly(make_content, make_plan):
    plan = make_plan(approved=True)
    tablet = plan.courses[0].model_copy(
        update={
            "key": "mouth:prednisolone",
            "role": "steroid tablet",
            "medicine": "prednisolone-5",
            "eye": None,
            "ordered_by": "Dr Example",
            "steps": (plan.courses[0].steps[0].model_copy(update={"mg": 20.0, "count": 1, "tablets": 4}),),
        }
    )
    content = make_content(plan=plan.model_copy(update={"courses": (*plan.courses, tablet)}))
    block = content.bottles[-1]
    assert block.bottle.eye == "By mouth"
    assert block.notes == ("Ordered by Dr Example.",)
    assert content.cautions is not None
    assert content.cautions.lines[0].startswith("Never stop steroid tablets suddenly.")


def test_a_caution_that_names_a_sentence_prints_it_and_an_unknown_one_is_refused(make_content, make_plan):
    def with_sentence(name: str):
        caution = Caution(id="c", text="staff", eye=None, level="warn", sheet=name)
        return make_content(plan=make_plan(approved=True, cautions=(caution,)))

    assert with_sentence("stay-the-night").cautions.lines == (
        "Stay near the clinic tonight. The pressure in the eye can rise.",
    )
    with pytest.raises(FollowupError, match="the caution c asks for the sentence 'nonsense'"):
        with_sentence("nonsense")


def test_the_patients_own_situation_adds_its_sentences(make_content, make_record):
    record = make_record(
        can_squeeze=False,
        drops_by={"who": "nobody"},
        conditions={"blood_thinner": True},
        eyes={"left": {"only_seeing": True, "herpetic_keratitis": {"year": 2019}}},
    )
    lines = make_content(record=record).cautions.lines
    starts = ("This is the eye you see with", "Someone must put in", "Do not go home today")
    starts += ("If you cannot squeeze",)
    starts += ("If the eye turns red", "Go on with your blood thinner")
    assert len(lines) == 6
    assert all(line.startswith(start) for line, start in zip(lines, starts, strict=True))


def test_a_draft_has_a_watermark_and_no_code(make_content):
    content = make_content(issue=None)
    assert content.watermark == "Draft. Not for the patient."
    assert content.code is None
    assert "Not signed" in content.foot.lines
    assert make_content().watermark is None


def test_an_unapproved_protocol_says_so_and_can_not_be_issued(make_content, make_plan):
    content = make_content(plan=make_plan(), issue=None)
    assert "Sample protocol, not approved for patients" in content.marks
    with pytest.raises(FollowupError, match="its protocol is not approved"):
        make_content(plan=make_plan())


def test_a_plan_with_an_open_question_can_not_be_issued_but_drafts(make_content, make_plan):
    question = Question(id="q", text="Crystals?", eye="left", fields=("operations.0.steroid",))
    plan = make_plan(approved=True, questions=(question,))
    assert make_content(plan=plan, issue=None).watermark
    with pytest.raises(FollowupError, match="it can't be signed yet"):
        make_content(plan=plan)


def test_a_refused_plan_has_no_sheet_at_all(make_content, make_plan):
    refused = Caution(id="child", text="plan by hand", eye=None, level="stop")
    with pytest.raises(FollowupError, match="no sheet for a refused plan"):
        make_content(plan=make_plan(refused=(refused,)), issue=None)


def test_a_sample_clinic_says_so(make_content, clinic):
    from dataclasses import replace

    assert make_content(clinic=replace(clinic, sample=True)).marks == ("Sample clinic",)
    assert make_content().marks == ()


def test_a_new_sheet_says_first_which_one_to_throw_away(make_content, issue):
    from dataclasses import replace

    content = make_content(issue=replace(issue, replaces=("LH-0041", date(2026, 5, 25))))
    assert content.first_line == "Throw sheet no. LH-0041 of Monday 25 May 2026 away."
    assert make_content().first_line is None


def test_a_language_without_words_prints_english_and_says_so(make_content, make_record):
    content = make_content(record=make_record(language="so"))
    assert content.language == "en"
    assert (
        content.language_notice
        == "There are no Somali words for this sheet yet. Ask us to read it out to you."
    )
    assert make_content().language_notice is None


def test_english_by_name_still_says_that_the_patients_language_is_missing(make_content, make_record):
    content = make_content(record=make_record(language="so"), language="en")
    assert content.language_notice is not None
    assert make_content(record=make_record(language="bn"), language="en").language_notice is None


def test_a_draft_translation_says_so_and_english_does_not(make_content):
    assert make_content(language="bn").marks == ("খসড়া অনুবাদ",)
    assert make_content(language="en").marks == ()


def test_the_sheet_language_is_picked_and_never_guessed_among_several(make_record):
    assert sheet_language(make_record(language="ar")).language.tag == "ar"
    assert sheet_language(make_record(language=None, speaks=["bn"])).language.tag == "bn"
    assert sheet_language(make_record(language=None)).language.tag == "en"
    assert sheet_language(make_record(language=None, speaks=["so", "bn"]), "bn").language.tag == "bn"
    with pytest.raises(FollowupError, match="speaks so, bn and no sheet language is picked"):
        sheet_language(make_record(language=None, speaks=["so", "bn"]))


@languages
def test_the_come_at_once_signs_are_the_same_whatever_the_plan(tag, make_content, make_plan):
    full = make_content(language=tag)
    bare = make_content(language=tag, plan=make_plan(courses=(), rounds=(), supply=(), trips=()), issue=None)
    assert full.alarm == bare.alarm
    assert [sign.id for sign in full.alarm.signs] == list(SIGNS)
    assert len(full.alarm.signs) == 7


def test_everyday_rules_carry_their_last_day_for_a_small_and_a_large_cut(make_content, make_record):
    def over_the_shield(record):
        groups = home(make_content(record=record))
        return [over for over, lines in groups.items() if "Wear the eye shield every night." in lines]

    small = make_record()
    large = small.model_copy(
        update={"operations": (small.operations[0].model_copy(update={"cut_mm": 6.5, "stitches": 3}),)}
    )
    assert over_the_shield(small) == ["Until Monday 8 June 2026:"]
    assert over_the_shield(large) == ["Until Monday 29 June 2026:"]


def test_rules_that_are_over_are_not_printed(make_content):
    content = make_content(printed_on=OPERATED + timedelta(days=9))
    assert "shield" not in told(content)
    assert "Pray" not in told(content)
    assert "swim" in told(content)
    assert list(home(content)) == ["Until Monday 15 June 2026:", "Until Monday 29 June 2026:", "From now on:"]


def test_a_gas_bubble_and_a_bandage_lens_have_their_own_rule(make_content, make_record):
    record = make_record()
    operation = record.operations[0].model_copy(update={"air_or_gas": "gas", "bandage_lens": True})
    said = told(make_content(record=record.model_copy(update={"operations": (operation,)})))
    assert "Do not fly until the doctor says that you may." in said
    assert "Leave it in" in said
    assert "fly" not in told(make_content())
    assert "lens" not in told(make_content())


@pytest.mark.parametrize(("pregnancy", "minutes"), [("no", 2), ("second trimester", 3)])
def test_the_eye_stays_closed_longer_in_pregnancy(make_content, make_record, pregnancy, minutes):
    content = make_content(record=make_record(conditions={"pregnancy": pregnancy}))
    steps = content.how_to.lines
    assert (
        f"Close the eye for {minutes} minutes. Or press gently beside the nose, not on the eye. "
        "Do not squeeze it shut." in steps
    )


def test_private_advice_is_for_the_counsellor_and_not_on_paper(make_content, all_texts):
    content = make_content()
    said = [line for line in content.teach_back.lines if "sex" in line]
    assert said == ["You may have sex again after Monday 8 June 2026."]
    printed = content.model_copy(update={"teach_back": content.teach_back.model_copy(update={"lines": ()})})
    assert not [t for t in all_texts(printed) if "sex" in t]


# Institute for Safe Medication Practices list and Joint Commission "Do Not Use" list, as quoted.
ABBREVIATIONS = re.compile(
    r"(?<![\w.])(OD|OS|OU|AD|AS|AU|o\.d\.|q\.d\.|q\.o\.d\.|qhs|HS|BT|cc|µg|μg|D/C|U|IU|per os)(?![\w])"
)
TRAILING_ZERO, NAKED_POINT = re.compile(r"\d\.0(?!\d)"), re.compile(r"(?<![\d])\.\d")


@languages
def test_no_dangerous_abbreviation_or_number_stands_on_a_sheet(tag, make_content, make_record, all_texts):
    record = make_record(
        can_squeeze=False,
        drops_by={"who": "nobody"},
        eyes={"left": {"only_seeing": True, "herpetic_keratitis": {}}},
    )
    for text in all_texts(make_content(language=tag, record=record)):
        assert not ABBREVIATIONS.search(text), text
        assert not TRAILING_ZERO.search(text), text
        assert not NAKED_POINT.search(text), text


def test_the_guard_against_abbreviations_would_catch_one():
    assert ABBREVIATIONS.search("1 drop OD twice")
    assert ABBREVIATIONS.search("give 5 U now")
    assert TRAILING_ZERO.search("1.0 mg")
    assert NAKED_POINT.search("give .5 mg")
    assert not ABBREVIATIONS.search("Use it as the doctor told you.")


@languages
def test_nothing_in_a_sheet_of_another_language_is_left_in_english(tag, make_content, all_texts):
    english = set(all_texts(make_content(language="en")))
    own = all_texts(make_content(language=tag))
    sentences = {t for t in own if t in english and " " in t and re.search("[a-z]{3}", t)}
    names = {"Lantern Hill Eye Clinic", "Asha Verhoeven-Demo"}
    names |= {"Prednisolone acetate 1%", "Moxifloxacin 0.5%", "Bromfenac 0.09%"}
    assert tag == "en" or sentences <= names


@languages
@given(code=st.from_regex(r"\A[A-Z0-9]{1,8}\Z"), phone=st.from_regex(r"\A\+[0-9]{2} [0-9]{4} [0-9]{4}\Z"))
def test_numbers_and_codes_come_through_unchanged_under_the_marks(tag, code, phone):
    from followup.language.direction import number

    assert without_marks(number(phone, LANGUAGES[tag])) == phone
    assert without_marks(number(code, LANGUAGES[tag])) == code


@pytest.mark.parametrize("at", ["07:00", None])
def test_whoever_works_at_night_reads_when_the_first_drops_go_in(make_content, make_plan, at):
    plan = make_plan(approved=True)
    first = FirstDropDay(eye="left", day=plan.as_of, at=at)
    content = make_content(plan=plan.model_copy(update={"first_drop_days": (first,)}))
    lines = content.cautions.lines if content.cautions else ()
    assert any("at 07:00, when the pad may come off" in line for line in lines) is (at is not None)
