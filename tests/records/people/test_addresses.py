"""Which telephone numbers and mail addresses are taken, at the edges of what the standards allow."""

from __future__ import annotations

import pytest

from followup.clinical.record import Phone
from followup.errors import FollowupError
from followup.records.channels import CHANNELS, WAYS_OUT
from followup.records.people.addresses import is_mail, is_phone, is_usable, refuse_phones, with_plain_digits

NUMBER, ADDRESS, NEITHER = "+44 20 7946 0101", "anna@clinic.example", "5----"


# ITU-T E.164: at most 15 digits. Five is the fewest that a clinic dials from outside: common practice, no
# source.
@pytest.mark.parametrize(
    ("number", "taken"),
    [
        *(("1234", False), ("12345", True), ("1" * 15, True), ("1" * 16, False)),
        *(("+1234", False), ("+12345", True), ("+" + "1" * 15, True), ("+" + "1" * 16, False)),
        *(("(020) 7946-0101", True), ("020/7946.0101", True), ("020,7946 0101", False)),
        *(
            ("020 7946+0101", False),
            ("++4420794601", False),
            ("020 7946 x01", False),
            ("", False),
            ("+", False),
        ),
        *(("०१२३४", True), ("٠١٢٣٤٥", True), ("½½½½½½", False), ("Ⅴ1234", False)),
    ],
)
def test_a_number_of_five_to_fifteen_digits_can_be_dialled(number, taken):
    assert is_phone(number) is taken


# RFC 5321, 4.5.3.1: 64 octets before the @, 254 in all (errata 1690); RFC 1035, 2.3.4: 63 in a label.
@pytest.mark.parametrize(
    ("address", "taken"),
    [
        *(("a@b.example", True), ("a" * 64 + "@b.example", True), ("a" * 65 + "@b.example", False)),
        *(("a@" + "b" * 63 + ".example", True), ("a@" + "b" * 64 + ".example", False)),
        # 250 octets from the @ on.
        *((before * "a" + "@" + ".".join(["b" * 61] * 4) + ".a", before < 5) for before in (3, 4, 5)),
        *(
            ("a@b", False),
            ("@b.example", False),
            ("a@", False),
            ("a.@b.example", False),
            ("a..b@c.example", False),
        ),
        *(("a@b.example\n", False), (" a@b.example", False), ("a@b.example,c@d.example", False)),
        *(("a@-b.example", False), ("a@b-.example", False), ("a@b_c.example", False), ("é@b.example", False)),
    ],
)
def test_a_mail_address_is_taken_up_to_the_length_of_the_standard(address, taken):
    assert len(address) <= 258
    assert is_mail(address) is taken, len(address)


USABLE = {
    "paper": {"": True, NUMBER: True, ADDRESS: True, NEITHER: True},
    "mail": {"": False, NUMBER: False, ADDRESS: True, NEITHER: False},
    "gateway": {"": False, NUMBER: True, ADDRESS: False, NEITHER: False},
    "folder": {"": True, NUMBER: True, ADDRESS: True, NEITHER: False},
}


@pytest.mark.parametrize(("channel", "usable"), USABLE.items())
def test_each_way_goes_to_its_own_kind_of_address(channel, usable):
    assert {address: is_usable(channel, address) for address in usable} == usable


def test_every_way_out_says_what_it_is_called_and_where_it_goes():
    assert WAYS_OUT.keys() == set(CHANNELS) == USABLE.keys()


def test_digits_of_any_script_are_dialled_as_zero_to_nine_and_the_rest_stays():
    assert with_plain_digits("+٤٤ (२०) ৭৯৪৬-0101") == "+44 (20) 7946-0101"


def test_a_number_that_stood_in_the_record_before_is_left_and_a_new_one_is_named_by_its_place():
    old, good, bad = (Phone.model_construct(number=number, whose="own") for number in (NEITHER, NUMBER, "12"))
    refuse_phones([good, old], [old])
    for new, place in (([good, bad], 1), ([bad, good], 0), ([old, good, bad], 2)):
        with pytest.raises(FollowupError) as caught:
            refuse_phones(new, [old])
        assert (caught.value.code, caught.value.where) == (
            "record.telephone",
            f"patient.telephones.{place}.number",
        )
