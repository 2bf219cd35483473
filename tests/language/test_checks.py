"""What the checks of a translation let through and what they stop."""

from __future__ import annotations

import pytest

from followup.language.catalogue_files import shipped, shipped_file, source_catalogue
from followup.language.catalogues import wanted_messages
from followup.language.checks import flaws
from followup.language.languages import LANGUAGES
from followup.language.safeguards import NEGATIONS, PROTECTED, forbidden, says_no

TRANSLATED = [tag for tag in LANGUAGES if tag != "en"]
SPANISH, ARABIC, HINDI = LANGUAGES["es"], LANGUAGES["ar"], LANGUAGES["hi"]


@pytest.mark.parametrize("tag", TRANSLATED)
def test_the_programs_own_words_have_no_flaw(tag):
    loaded = shipped(LANGUAGES[tag], "sheet")
    wanted = wanted_messages()
    assert set(loaded.messages) == set(wanted)
    found = [
        (key[1], flaw) for key, s in wanted.items() for flaw in flaws(s, loaded.messages[key], LANGUAGES[tag])
    ]
    assert found == []


@pytest.mark.parametrize(
    ("source", "form", "flaw"),
    [
        ("Sheet no. %(number)s", "Hoja número", "lacks the placeholder %(number)s"),
        ("Sheet no. %(number)s", "Hoja %(number)s y %(number)s", "has the placeholder %(number)s"),
        ("Sheet no. %(number)s", "Hoja %(numero)s", "lacks the placeholder %(number)s"),
        ("page {page} of {pages}", "página {page}", "lacks the placeholder {pages}"),
        ("Sheet no. %(number)s", "Hoja %(number)", "lacks the placeholder"),
        ("By day", "Al 100%", "has a percent sign"),
        ("Lift nothing heavier than 5 kg.", "No levante nada de más de 50 kg.", "lacks the number 5"),
        ("For 3 days things may look bluish.", "Unos días puede ver azul.", "lacks the number 3"),
        ("Do not drive.", "Puede conducir.", "has lost its 'not' or 'never'"),
        ("Never", "Siempre", "has lost its 'not' or 'never'"),
        ("Left eye", "Ojo derecho", "lacks the word for 'left eye': ojo izquierdo"),
        ("Steroid tablets.", "Pastillas.", "lacks the word for 'steroid'"),
        ("At home", "", "is empty"),
        ("At home", " En casa", "begins or ends with a space"),
        ("At home", "En <b>casa</b>", "mark-up character '<'"),
        ("At home", "En casa #let", "mark-up character '#'"),
        ("At home", "=En casa", "begins like a formula"),
        ("At home", "En casa\u202e", "invisible character U+202E"),
        ("At home", "En\ncasa", "invisible character U+000A"),
        ("At home", "En casa \u0e2a", "U+0E2A (thai character so sua), which no font prints"),
        ("At home", "Medicio\u0301n", "composed form"),
        ("For 3 days", "3 días, \u0663", "has digits that are not 0123456789"),
        ("At home", "OD en casa", "holds the abbreviation 'OD'"),
        ("At home", "casa " * 40 + "x", "far longer"),
    ],
)
def test_a_translation_that_lost_or_gained_something_is_named(source, form, flaw):
    found = list(flaws((source,), (form,), SPANISH))
    assert any(flaw in each for each in found), found


@pytest.mark.parametrize(
    ("source", "form"),
    [
        ("Sheet no. %(number)s", "Hoja número %(number)s"),
        ("%(eye)s: use %(medicine)s instead of %(old)s.", "%(eye)s: %(old)s ya no: %(medicine)s."),
        ("Do not drive.", "No conduzca."),
        ("Lift nothing heavier than 5 kg.", "No levante nada de más de 5 kg."),
    ],
)
def test_other_word_order_and_other_words_are_no_flaw(source, form):
    assert list(flaws((source,), (form,), SPANISH)) == []


@pytest.mark.parametrize(("letters", "too_long"), [(68, False), (69, True)])
def test_a_translation_may_be_four_times_as_long_as_the_english_and_forty_letters_more(letters, too_long):
    assert any("far longer" in flaw for flaw in flaws(("At home",), ("a" * letters,), SPANISH)) is too_long


def test_every_plural_form_is_judged_and_counted():
    source = ("%(count)s time a day", "%(count)s times a day")
    six = tuple(f"%(count)s مرة {n}" for n in "أبتثجح")
    assert list(flaws(source, six, ARABIC)) == []
    assert list(flaws(source, six[:2], ARABIC)) == ["has 2 forms, Arabic needs 6"]
    assert list(flaws(source, (*six[:5], "مرات"), ARABIC)) == ["lacks the placeholder %(count)s"]


def test_a_hindi_syllable_is_not_taken_for_a_not():
    # "निकालें" begins with the letter of "न" (not), and a vowel sign ends a word for Python's own \\b.
    assert list(flaws(("Do not take it out.",), ("इसे निकालें।",), HINDI)) == ["has lost its 'not' or 'never'"]
    assert list(flaws(("Do not take it out.",), ("इसे न निकालें।",), HINDI)) == []


@pytest.mark.parametrize(
    ("tag", "yes", "no"),
    [
        ("bn", "গাড়ি চালাবেন", "গাড়ি চালাবেন না"),
        ("hi", "गाड़ी चलाएँ", "गाड़ी न चलाएँ"),
        ("ta", "வண்டி ஓட்டுங்கள்", "வண்டி ஓட்ட வேண்டாம்"),
        ("te", "బండి నడపండి", "బండి నడపవద్దు"),
        ("ur", "گاڑی چلائیں", "گاڑی نہ چلائیں"),
        ("ar", "قُد السيارة", "لا تقد السيارة"),
        ("sw", "Endesha gari usiku", "Usiendeshe gari usiku"),
        ("fr", "Conduisez", "Ne conduisez pas"),
        ("es", "Conduzca", "No conduzca"),
        ("pt", "Conduza", "Não conduza"),
        ("ne", "गाडी चलाउनुहोस्, चाप नाप्नुहोस्", "गाडी नचलाउनुहोस्"),
    ],
)
def test_drive_and_do_not_drive_are_told_apart(tag, yes, no):
    assert not says_no(yes, tag)
    assert says_no(no, tag)


def test_every_translated_language_has_its_safeguards():
    assert set(PROTECTED) == set(NEGATIONS) == set(TRANSLATED)
    assert len({frozenset(words) for words in PROTECTED.values()}) == 1
    for words in PROTECTED.values():
        assert not set(words["left eye"]) & set(words["right eye"])


@pytest.mark.parametrize("tag", TRANSLATED)
def test_left_and_right_are_never_swapped(tag):
    messages = shipped(LANGUAGES[tag], "sheet").messages
    swapped = {
        (None, "Left eye"): messages[(None, "Right eye")],
        (None, "Right eye"): messages[(None, "Left eye")],
    }
    for key, forms in swapped.items():
        assert any("lacks the word for" in flaw for flaw in flaws((key[1],), forms, LANGUAGES[tag]))


# The list of error-prone abbreviations of the Institute for Safe Medication Practices and the Joint
# Commission's "do not use" list, as far as they can stand on an eye clinic's sheet.
@pytest.mark.parametrize(
    "text",
    ["OD", "OS", "OU", "AD", "AS", "AU", "o.d.", "q.d.", "q.o.d.", "qhs", "QD", "HS", "BT", "5 cc", "µg",
     "50 μg", "D/C", "U", "10 IU", "per os", "1.0", "1,0 mg", ".5", "a .5% drop", "take 2.00"],
)  # fmt: skip
def test_every_forbidden_abbreviation_is_found(text):
    assert forbidden(f"Put {text} in")


@pytest.mark.parametrize(
    "text",
    ["0.5%", "0.05%", "1%", "at 10:00", "10.", "as often", "Os números", "os dois olhos", "accès", "100 mg",
     "Usiku", "1, 2 and 3", "No. 10", "+44 20 7946 0000", "AURORA", "au matin", "5 ml", "sheet.5"],
)  # fmt: skip
def test_ordinary_words_and_numbers_are_let_through(text):
    assert forbidden(f"Put {text} in") == ()


def test_the_english_catalogue_says_what_the_code_says():
    assert shipped_file("en", "sheet").is_file()
    for message in source_catalogue("sheet"):
        if message.id:
            assert message.string == message.id
