"""What is wrong with a record, as the page says it: beside its field, in the words of its label."""

from __future__ import annotations

import re

import pytest

from followup.care.fields.checked import check
from followup.care.fields.values import read_form
from followup.desks.forms.problems import slips_of
from followup.desks.words.texts import Texts
from followup.errors import FollowupError

BASE = {
    "patient.code": ["K-1"],
    "patient.name": ["Somebody"],
    "patient.birth_year": ["1955"],
    "operations.0.eye": ["right"],
    "operations.0.eye_drawn": ["right"],
    "operations.0.date": ["2027-03-01"],
    "operations.0.procedure": ["phacoemulsification"],
}
# A form that contradicts itself, and the field beside which the page says so.
CASES = [
    ({"operations.0.eye_drawn": ["left"]}, "operations.0.eye_drawn"),
    ({"patient.birth_year": []}, "patient.birth_date"),
    ({"patient.birth_date": ["1954-01-01"]}, "patient.birth_date"),
    (
        {"operations.0.capsule_torn": ["yes"], "operations.0.capsule_whole": ["yes"]},
        "operations.0.capsule_torn",
    ),
    ({"operations.0.synechiae_degrees": ["90"], "operations.0.synechiae_broken": ["no"]}, None),
    ({"operations.0.iridotomy_by": ["laser"], "operations.0.iridotomy": ["none"]}, None),
    ({"patient.birth_year": ["2030"]}, "operations.0.date"),
    ({"patient.eyes.left.uveitis.last_active": ["2028-01-01"]}, "patient.eyes.left.uveitis.last_active"),
    ({"patient.allergies.0.to": ["other"]}, None),
    ({"in_use.0.eye": ["left"]}, None),
    ({"operations.0.cut_mm": ["3"], "operations.0.procedure": ["extracapsular"]}, "operations.0.cut_mm"),
    ({"patient.language": ["English"]}, "patient.language"),
]


@pytest.mark.parametrize("tag", ["en", "fr", "ar"])
@pytest.mark.parametrize(("changed", "beside"), CASES)
def test_no_refusal_names_a_field_by_anything_but_its_label(changed, beside, tag):
    texts = Texts(tag)
    with pytest.raises(FollowupError) as refused:
        check(read_form(BASE | changed))
    slips = slips_of(refused.value, texts.told)
    assert slips
    for slip in slips:
        assert not re.search(r"[a-z]_[a-z]|[a-z]\.[a-z]|YYYY|\d{4}-\d\d", slip.text), slip.text
        assert slip.name
        assert slip.label
    if beside:
        assert slips[0].name == beside


def test_a_field_of_a_line_is_named_with_its_list():
    steroid = {"operations.0.steroid.0.medicine": ["triamcinolone-injection"]}
    with pytest.raises(FollowupError) as refused:
        check(read_form(BASE | steroid))
    (slip,) = slips_of(refused.value, str)
    assert slip.label == "Steroid given in or beside the eye, Where"


def test_a_refusal_of_the_store_stands_beside_its_field_too():
    refused = FollowupError("patient.code", "already in use", where="patient.code", fix="correct it")
    (slip,) = slips_of(refused, str)
    assert (slip.name, slip.label, slip.text) == ("patient.code", "Patient code", "already in use")


def test_what_is_about_no_field_is_said_whole():
    (slip,) = slips_of(FollowupError("disk", "the disk is full", fix="make room"), str)
    assert (slip.name, slip.text) == ("", "the disk is full - make room")
