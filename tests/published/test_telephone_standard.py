"""Telephone numbers against the published numbering plans, as the phonenumbers library carries them."""

from __future__ import annotations

import phonenumbers
import pytest
from phonenumbers import PhoneNumberFormat as Form

from followup.records.people.addresses import is_phone, with_plain_digits
from followup.records.people.folding import fold_phone
from followup.sheets.squares import dialled

# An example number of every country or territory with a numbering plan: 245 in the library of 2026.
REGIONS = sorted(phonenumbers.SUPPORTED_REGIONS)
EXAMPLES = {region: phonenumbers.example_number(region) for region in REGIONS}
EXAMPLES = {region: number for region, number in EXAMPLES.items() if number is not None}
ARABIC_INDIC = str.maketrans("0123456789", "٠١٢٣٤٥٦٧٨٩")
BENGALI = str.maketrans("0123456789", "০১২৩৪৫৬৭৮৯")


def written(region: str, form: int) -> str:
    return phonenumbers.format_number(EXAMPLES[region], form)


def test_there_is_an_example_of_nearly_every_country():
    assert len(EXAMPLES) > 230


def test_itu_e_164_every_countrys_number_with_its_area_code_can_be_dialled():
    for region in EXAMPLES:
        for form in (Form.E164, Form.INTERNATIONAL):
            assert is_phone(written(region, form)), (region, written(region, form))


def test_itu_e_164_a_phone_dials_exactly_the_number_however_it_is_grouped():
    for region in EXAMPLES:
        exact = written(region, Form.E164)
        assert dialled(written(region, Form.INTERNATIONAL)) == exact, region
        assert f"+{fold_phone(written(region, Form.INTERNATIONAL))}" == exact, region


@pytest.mark.parametrize("digits", [ARABIC_INDIC, BENGALI], ids=["Arabic-Indic", "Bengali"])
def test_digits_of_another_script_are_the_same_number(digits):
    for region in ("IN", "EG", "BD", "NP", "KE"):
        number = written(region, Form.INTERNATIONAL)
        assert is_phone(number.translate(digits)), region
        assert with_plain_digits(number.translate(digits)) == number, region


def test_itu_e_164_more_than_fifteen_digits_are_no_number():
    assert is_phone("+" + "1" * 15)
    assert not is_phone("+" + "1" * 16)


def test_rfc_3966_the_code_that_rings_the_clinic_is_a_global_number():
    # tel:+digits; visual separators are left out, so that every phone reads it alike.
    for region in EXAMPLES:
        link = f"tel:{dialled(written(region, Form.INTERNATIONAL))}"
        again = phonenumbers.parse(link.removeprefix("tel:"), None)
        assert phonenumbers.format_number(again, Form.E164) == written(region, Form.E164), region


@pytest.mark.parametrize("number", ["call me", "+44 20 79x6 0100", "1234", "", "+", "00", "12;34567"])
def test_what_no_telephone_takes_is_refused(number):
    assert not is_phone(number)
