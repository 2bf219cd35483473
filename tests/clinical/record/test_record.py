"""A record is read whole or refused in one line that names the field."""

from __future__ import annotations

import json

import pytest

from followup.clinical.record import Record, parse_json_object, parse_record
from followup.errors import FollowupError


def refused(call, *args):
    with pytest.raises(FollowupError) as caught:
        call(*args)
    assert "\n" not in caught.value.line
    assert len(caught.value.line) < 900
    assert caught.value.fix
    return caught.value


OPERATION_MISTAKES = [
    ({"eye": "left"}, "operations.0", "eye_drawn"),
    ({"eye": "OD"}, "operations.0.eye", "right"),
    ({"date": "2026-02-30"}, "operations.0.date", "date"),
    ({"date": "2/3/2026"}, "operations.0.date", "date"),
    ({"date": 20260302}, "operations.0.date", "YYYY-MM-DD"),
    ({"date": "1953-01-01"}, "record", "before the birth"),
    ({"date": "1989-12-31"}, "record", "1990"),
    ({"cut_mm": 300}, "operations.0.cut_mm", "15"),
    ({"cut_mm": 0}, "operations.0.cut_mm", "0.5"),
    ({"cut_mm": float("nan")}, "operations.0.cut_mm", "15"),
    ({"cut_mm": float("inf")}, "operations.0.cut_mm", "15"),
    ({"stitches": 1.5}, "operations.0.stitches", "whole number"),
    ({"stitches": 10**30}, "operations.0.stitches", "20"),
    ({"stitches": -1}, "operations.0.stitches", "0"),
    ({"start": "9:00"}, "operations.0.start", "HH:MM"),
    ({"start": "24:00"}, "operations.0.start", "HH:MM"),
    ({"chamber": "quite shallow"}, "operations.0.chamber", "shallow"),
    ({"procedure": None}, "operations.0.procedure", ""),
    ({"capsule_torn": True, "capsule_whole": True}, "operations.0", "can't both be true"),
    ({"antibiotic": "cefuroxime-chamber", "antibiotic_in_chamber": False}, "operations.0", "correct one"),
    ({"steroids": []}, "operations.0.steroids", "is not known"),
    (
        {
            "steroid": [
                {
                    "medicine": "dexamethasone-insert",
                    "place": "chamber",
                    "form": "slow-release",
                    "fate": "washed out",
                }
            ]
        },
        "operations.0.steroid.0",
        "can't be washed out",
    ),
    ({"steroid": [{"medicine": "x", "place": "chamber", "mg": 500}]}, "operations.0.steroid.0", ""),
    ({"free_text": "x" * 5_000}, "operations.0.free_text", "4000"),
    ({"procedure": "extracapsular", "cut_mm": 3.9}, "operations.0", "too small"),
    ({"procedure": "intracapsular", "cut_mm": 3, "lens": "none"}, "operations.0", "too small"),
    ({"procedure": "intracapsular", "cut_mm": 10, "lens": "bag"}, "operations.0", "leaves no bag"),
    ({"start": "09:20", "end": "09:00"}, "operations.0", "an operation of 23 hours"),
    ({"lens_left": "none", "lens_left_hard": True}, "operations.0", "lens_left says none"),
]


@pytest.mark.parametrize(("change", "field", "says"), OPERATION_MISTAKES)
def test_a_mistake_in_an_operation_is_named_by_its_field(someone, change, field, says):
    error = refused(parse_record, someone(operation=change))
    assert error.where.startswith(f"record: {field}")
    assert says in error.line


PATIENT_MISTAKES = [
    ({"code": "C 0001"}, "patient.code"),
    ({"name": "x" * 5_000_000}, "patient.name"),
    ({"name": ""}, "patient.name"),
    ({"name": "\u200b\u200b"}, "patient.name"),
    ({"name": "- . -"}, "patient.name"),
    ({"name": "12 34"}, "patient.name"),
    ({"name_latin": "\u2060"}, "patient.name_latin"),
    ({"drops_by": {"who": "relative", "name": "\u200d"}}, "patient.drops_by.name"),
    ({"birth_date": "1904-03-01"}, ""),
    ({"eye": {"uveitis": {"last_active": "2026-03-03"}}}, ""),
    ({"other_eye": {"uveitis": {"last_active": "2026-03-03"}}}, ""),
    ({"eye": {"uveitis": {"last_active": "1950-03-03"}}}, ""),
    ({"eye": {"rise_on_steroid": {"mmhg": 34, "year": 2027}}}, ""),
    ({"eye": {"rise_on_steroid": {"mmhg": 34}, "steroid_responder": False}}, "patient.eyes.right"),
    ({"eye": {"herpetic_keratitis": {"year": 2027}}}, ""),
    ({"eye": {"uveitis": {"kind": "other"}}}, "patient.eyes.right.uveitis"),
    ({"eye": {"uveitis": {"kind": "herpetic", "herpetic": False}}}, "patient.eyes.right.uveitis"),
    ({"birth_date": "1954-13-01"}, "patient.birth_date"),
    ({"birth_date": None}, "patient"),
    ({"birth_year": 1955}, "patient"),
    ({"birth_year": 17}, "patient.birth_year"),
    ({"allergies": [{"to": "feathers"}]}, "patient.allergies.0.to"),
    ({"allergies": [{"to": "medicine"}]}, "patient.allergies.0"),
    ({"telephones": [{"number": "call me"}]}, "patient.telephones.0.number"),
    ({"language": "English"}, "patient.language"),
    ({"conditions": {"diabetes": True}}, "patient.conditions.diabetes"),
    ({"conditions": {"athsma": True}}, "patient.conditions.athsma"),
    ({"eye": {"axial_length_mm": True}}, "patient.eyes.right.axial_length_mm"),
    ({"eye": {"axial_length_mm": "long"}}, "patient.eyes.right.axial_length_mm"),
    ({"eye": {"axial_length_mm": 2.6}}, "patient.eyes.right.axial_length_mm"),
]


@pytest.mark.parametrize(("change", "field"), PATIENT_MISTAKES)
def test_a_mistake_about_the_patient_is_named_by_its_field(someone, change, field):
    error = refused(parse_record, someone(**change))
    assert error.where.startswith(f"record: {field}")


def test_an_eye_given_twice_and_different_says_which_and_what_to_do(someone):
    error = refused(parse_record, someone(operation={"eye": "left"}))
    assert error.what == "eye says left but eye_drawn says right; confirm the eye"


def test_two_operations_on_one_eye_on_one_day_are_one_too_many(someone):
    assert "keep one" in refused(parse_record, someone(more_operations=[{}])).line


@pytest.mark.parametrize(
    "change",
    [
        {"reviews": [{"eye": "left", "date": "2026-03-03"}]},
        {"reviews": [{"date": "2026-03-01"}]},
        {"trips": [{"date": "2026-02-01", "status": "booked"}]},
        {"reviews": [{"date": "2026-03-03", "pressure": 900}]},
        {"in_use": [{"eye": "right"}]},
        {"in_use": [{"medicine": "dorzolamide-2"}]},
        {"in_use": [{"medicine": "prednisolone-5-tablet", "route": "mouth", "eye": "right"}]},
        {"in_use": [{"medicine": "dorzolamide-2", "eye": "right", "count_a_day": 2, "times": ["07:00"]}]},
    ],
)
def test_what_contradicts_the_operation_or_itself_is_refused(someone, change):
    refused(parse_record, someone(**change))


def test_several_mistakes_are_counted_behind_the_first(someone):
    error = refused(parse_record, someone(operation={"cut_mm": 300, "stitches": 99}, sex="none"))
    assert "and 2 more" in error.fix


def test_not_recorded_in_words_null_and_silence_mean_the_same(someone, told):
    silent = someone(operation={"chamber": None})
    said = someone(operation={"chamber": "not recorded"})
    del silent["operations"][0]["chamber"]
    assert parse_record(silent) == parse_record(said)


def test_a_medicine_unknown_to_the_formulary_is_named_by_its_field(someone, told):
    for change, field in (
        ({"operation": {"antibiotic": "wonder-drop"}}, "operations.0.antibiotic"),
        (
            {"operation": {"steroid": [{"medicine": "wonder-drop", "place": "chamber"}]}},
            "operations.0.steroid.0",
        ),
        ({"allergies": [{"to": "medicine", "medicine": "wonder-drop"}]}, "patient.allergies.0.medicine"),
    ):
        assert field in refused(told, someone(**change)).line


def test_a_day_before_every_operation_has_no_plan(someone, told):
    with pytest.raises(FollowupError, match="no operation on or before 2026-03-01"):
        told(someone(), as_of=-1)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("{", "json.syntax"),
        ("", "json.syntax"),
        ("[1, 2]", "json.object"),
        ('{"a": 1, "a": 2}', "json.syntax"),
        ("[" * 100_000, "json.syntax"),
        (b"\xff\xfe{}", "json.syntax"),
        ("{" + " " * 1_000_000 + "}", "json.size"),
        ('{"n": ' + "9" * 10_000 + "}", "json.syntax"),
    ],
)
def test_what_is_no_json_object_is_refused_in_one_line(text, code):
    error = refused(parse_json_object, text, "record.json")
    assert error.code == code
    assert error.where == "record.json"


def _with(place: str, value: object) -> dict[str, object]:
    """A record with everything that can hold a number, and ``value`` at ``place``."""
    operation = {
        "eye": "right",
        "eye_drawn": "right",
        "date": "2026-03-02",
        "procedure": "phacoemulsification",
    }
    record: dict[str, object] = {
        "patient": {
            "code": "K-1",
            "name": "Asha Rao",
            "birth_year": 1950,
            "travel": {},
            "eyes": {
                "right": {
                    "herpetic_keratitis": {
                        "treatment": {"medicine": "aciclovir-400", "count_a_day": 5, "days": 7}
                    },
                    "rise_on_steroid": {},
                    "after_earlier_operation": {},
                }
            },
        },
        "operations": [
            operation
            | {
                "steroid": [{"medicine": "dexamethasone-insert", "place": "chamber"}],
                "drops_before": [{"medicine": "bromfenac-0-09"}],
            }
        ],
        "in_use": [
            {"described": "tablets", "route": "mouth", "mg_steps": [{"starts": "2026-03-02", "mg": 5}]}
        ],
        "reviews": [{"eye": "right", "date": "2026-03-03"}],
    }
    at: object = record
    *way, last = place.split(".")
    for part in way:
        at = at[int(part)] if isinstance(at, list) else at[part]
    at[last] = value
    return record


def _numbers_of_a_record() -> dict[str, object]:
    """Every field of the record that holds a number, found in its own JSON Schema, with one that fits."""
    schema = Record.model_json_schema()
    found = {}

    def look(place: str, part: dict[str, object]) -> None:
        if "$ref" in part:
            part = schema["$defs"][part["$ref"].rsplit("/", 1)[-1]]
        for each in part.get("anyOf", ()):
            look(place, each)
        if part.get("type") in ("integer", "number"):
            found[place] = part.get("minimum", 1)
        for name, inner in part.get("properties", {}).items():
            look(f"{place}.{name}".lstrip("."), inner)
        if part.get("type") == "array":
            look(f"{place}.0", part["items"])

    look("", schema)
    return {place: least for place, least in found.items() if ".left." not in place}


NUMBERS = _numbers_of_a_record()


def test_the_record_holds_numbers_in_many_places():
    assert {"patient.birth_year", "operations.0.stitches", "reviews.0.pressure"} < NUMBERS.keys()
    assert len(NUMBERS) >= 16


@pytest.mark.parametrize("value", [True, False])
@pytest.mark.parametrize("place", NUMBERS)
def test_yes_or_no_is_no_number(place, value):
    error = refused(parse_record, _with(place, value))
    assert error.where == f"record: {place}"
    assert any(says in error.what for says in ("must be a number", "must be a whole number", "in mmHg"))


@pytest.mark.parametrize("place", NUMBERS)
def test_a_form_sends_a_number_as_its_digits(place):
    written = str(max(1, NUMBERS[place]))
    if place == "patient.birth_year":
        written = "1950"
    assert parse_record(_with(place, written))


@pytest.mark.parametrize(
    ("place", "value", "says"),
    [
        ("operations.0.date", "20260302", "YYYY-MM-DD"),
        ("operations.0.date", "1772409600", "YYYY-MM-DD"),
        ("operations.0.date", 1772409600.0, "YYYY-MM-DD"),
        ("operations.0.date", True, "YYYY-MM-DD"),
        ("patient.birth_date", "19500102", "YYYY-MM-DD"),
        ("patient.code", 104, "must be a text"),
        ("patient.code", True, "must be a text"),
        ("patient.name", 7, "must be a text"),
        ("operations.0.start", 9, "must be a text"),
        ("operations.0.steroid.0.medicine", 3, "must be a text"),
    ],
)
def test_a_number_is_no_day_no_name_and_no_time(place, value, says):
    error = refused(parse_record, _with(place, value))
    assert error.where == f"record: {place}"
    assert says in error.what


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_that_are_no_numbers_do_not_come_through(someone, number):
    text = json.dumps(someone(operation={"cut_mm": 2.4})).replace('"cut_mm": 2.4', f'"cut_mm": {number}')
    error = refused(lambda: parse_record(parse_json_object(text, "record.json")))
    assert (error.code, error.where) == ("record.field", "record: operations.0.cut_mm")


@pytest.mark.parametrize(
    "name",
    [
        "wanjiru",
        "tom",
        "amina",
        "peter",
        "lakshmi",
        "ibrahim",
        "grace",
        "rafiq",
        "devika",
        "joao",
        "fatuma",
        "li",
    ],
)
def test_each_of_the_twelve_operations_is_read_and_written_back_the_same(case, name):
    record = parse_record(case(name))
    assert parse_record(json.loads(record.model_dump_json())) == record


@pytest.mark.parametrize("name", ["Ж", "علي", "名", "O'Neil", "Ana-Lúcia 2", "ก้อง"])
def test_a_name_in_any_script_is_a_name(someone, name):
    assert parse_record(someone(name=name)).patient.name == name


def test_a_hundred_and_twenty_is_the_highest_age(someone):
    assert parse_record(someone(birth_date="1906-06-01")).patient.birth_date.year == 1906


def test_uveitis_that_flared_between_two_operations_of_one_eye_is_no_mistake(someone, on_day):
    again = [{"date": on_day(40)}]
    flared = someone(eye={"uveitis": {"last_active": on_day(20)}}, more_operations=again)
    assert parse_record(flared).patient.eyes.right.uveitis.last_active.isoformat() == on_day(20)


@pytest.mark.parametrize(
    ("was", "kind", "words"),
    [
        ("anterior, cause not found", "anterior", "cause not found"),
        ("Birdshot", "other", "Birdshot"),
        ("toxoplasma", "toxoplasma", None),
        ("perhaps Fuchs", "other", "perhaps Fuchs"),
    ],
)
def test_a_kind_of_uveitis_stored_in_words_still_opens_and_nothing_is_guessed(someone, was, kind, words):
    uveitis = parse_record(someone(eye={"uveitis": {"kind": was}})).patient.eyes.right.uveitis
    assert (uveitis.kind, uveitis.kind_words) == (kind, words)
