"""Plural rules of every language against the Unicode CLDR, as Babel carries it for locales."""

from __future__ import annotations

import gettext

import pytest
from babel import Locale

from followup.language.languages import LANGUAGES

languages = pytest.mark.parametrize("language", LANGUAGES.values(), ids=LANGUAGES)


@languages
def test_every_number_gets_the_form_that_cldr_gives_it(language):
    form, cldr = gettext.c2py(language.plural), Locale.parse(language.tag).plural_form
    for n in range(201):
        assert language.categories[form(n)] == cldr(n), n


@languages
def test_the_forms_are_exactly_the_categories_of_cldr(language):
    rule = Locale.parse(language.tag).plural_form
    whole = {rule(n) for n in range(1001)}
    assert set(language.categories) == whole
    assert len(language.categories) == len(whole)


def test_arabic_eleven_is_many_and_a_hundred_is_other():
    # CLDR plural rules for Arabic: many is n % 100 = 11..99, other is everything that is left.
    arabic = LANGUAGES["ar"]
    forms = {n: arabic.categories[gettext.c2py(arabic.plural)(n)] for n in (0, 1, 2, 3, 10, 11, 99, 100, 103)}
    assert list(forms.values()) == ["zero", "one", "two", "few", "few", "many", "many", "other", "few"]
