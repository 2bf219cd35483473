"""Plural forms against the samples of Unicode CLDR, written here as they are published.

The numbers stand in CLDR's plurals.xml (@integer samples) beside each rule; from memory, and equal to what
the rules give. They are not read from a library: a library with a wrong rule would agree with itself.
"""

from __future__ import annotations

import gettext

import pytest

from followup.language.languages import LANGUAGES

# tag: {category: numbers of its samples}. Languages with the same rule stand together.
_N_IS_1 = {"one": (1,), "other": (0, 2, 3, 10, 16, 100, 1000, 10000, 100000)}
_ZERO_AND_ONE = {"one": (0, 1), "other": (2, 3, 10, 17, 100, 1000, 10000, 100000)}
SAMPLES: dict[str, dict[str, tuple[int, ...]]] = {
    **dict.fromkeys(("en", "sw", "ta", "te", "ne", "ur"), _N_IS_1),
    **dict.fromkeys(("hi", "bn"), _ZERO_AND_ONE),
    # Since CLDR 38 these three have "many" for whole millions; a count on a sheet is never one.
    "es": {"one": (1,), "other": (0, 2, 16, 100, 1000, 10000, 100000)},
    "pt": {"one": (0, 1), "other": (2, 17, 100, 1000, 10000, 100000)},
    "fr": {"one": (0, 1), "other": (2, 17, 100, 1000, 10000, 100000)},
    "ar": {
        "zero": (0,),
        "one": (1,),
        "two": (2,),
        "few": (3, 10, 103, 110, 1003),
        "many": (11, 26, 111, 1011),
        "other": (100, 102, 200, 202, 300, 302, 1000, 10000, 100000, 1000000),
    },
}


def test_every_language_of_the_sheet_has_its_samples():
    assert set(SAMPLES) == set(LANGUAGES)


@pytest.mark.parametrize("tag", SAMPLES)
def test_cldr_each_sample_falls_into_its_category(tag):
    form, names = gettext.c2py(LANGUAGES[tag].plural), LANGUAGES[tag].categories
    for category, numbers in SAMPLES[tag].items():
        assert {number: names[form(number)] for number in numbers} == dict.fromkeys(numbers, category)
