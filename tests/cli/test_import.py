"""``followup import``: operation lists and records from a file, whole or not at all, on both databases."""

from __future__ import annotations

import json
from datetime import date

import pytest

from followup.care.plans.planning import planned_first
from followup.demo.cast import case_data
from followup.records.people.oplist import ListLine, operation_list
from followup.records.people.patients import patient_by_code
from followup.records.plans.plans import plans_of
from followup.records.store.journal import journal_of
from followup.records.trips.places import take_places
from followup.records.views import SYSTEM

DAY = "2026-03-02"
_PLACE = date(2027, 5, 3)


def expected(code: str = "C-0001", eye: str = "right", **more: str) -> dict[str, str]:
    return {"on": DAY, "code": code, "name": "Wanjiru Njoroge", "eye": eye, **more}


@pytest.fixture
def file(tmp_path):
    """Writes rows, one JSON object a line."""

    def write(*rows: object, name: str = "rows.jsonl") -> str:
        texts = [row if isinstance(row, str) else json.dumps(row, ensure_ascii=False) for row in rows]
        (tmp_path / name).write_text("\n".join(texts) + "\n", "utf-8")
        return str(tmp_path / name)

    return write


@pytest.mark.usefixtures("database_kind")
def test_records_and_lists_are_stored_with_their_draft_plans_and_a_second_time_changes_nothing(
    clinic, store, inside, file, entries
) -> None:
    rows = [
        expected(),
        expected("K-7", "left", name="প্রিয়া"),
        case_data("01-wanjiru"),
        "",
        case_data("02-tom"),
    ]
    path = file(*rows)
    done = inside("import", path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "2 records and 2 lines of operation lists stored.\n"
    with store.read() as session:
        assert operation_list(session, date(2026, 3, 2)) == (
            ListLine("C-0001", "Wanjiru Njoroge", "right"),
            ListLine("K-7", "প্রিয়া", "left"),
        )
        patient = patient_by_code(session, "C-0001")
        assert len(plans_of(session, patient.id)) == 1
        assert journal_of(session, "patient:C-0001")[0].actor == "command line"
    before = entries()
    again = inside("import", path)
    assert again.stdout == "0 records and 0 lines of operation lists stored; 4 rows were there already.\n"
    assert entries() == before


def test_a_table_of_expected_operations_takes_its_columns_in_any_order(clinic, store, inside, file) -> None:
    path = file("Eye,on,code,name", f'left,{DAY},K-1,"Ndegwa, Wanjiru"', "", name="list.CSV")
    assert inside("import", path).returncode == 0
    with store.read() as session:
        assert operation_list(session, date(2026, 3, 2)) == (ListLine("K-1", "Ndegwa, Wanjiru", "left"),)


@pytest.mark.parametrize(
    ("bad", "why"),
    [
        ("{", "not valid JSON"),
        ("[1]", "not a JSON object"),
        ('{"on": "2026-03-02", "on": "2026-03-03"}', "twice"),
        ({**expected(), "eye": "both"}, "row 2: eye"),
        ({**expected(), "on": "2.3.2026"}, "row 2: on"),
        ({**expected(), "code": "K 1"}, "row 2: code"),
        ({**expected(), "note": "x"}, "row 2: note"),
        (expected(), "stands twice"),
        ({"patient": {"code": "K-1"}, "operations": []}, "row 2: "),
        (case_data("01-wanjiru") | {"colour": "blue"}, "row 2: colour"),
    ],
)
def test_with_one_refused_row_nothing_is_stored_and_the_row_comes_back_with_its_reason(
    clinic, store, inside, file, entries, bad, why
) -> None:
    before, path = entries(), file(expected(), bad, case_data("02-tom"))
    done = inside("import", path)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert "nothing was stored" in done.stderr
    assert why in done.stderr
    assert entries() == before
    with open(f"{path}.refused.jsonl", encoding="utf-8") as handed_back:
        (refused,) = [json.loads(line) for line in handed_back]
    assert refused["row"] == 2
    assert why in refused["why"]
    assert refused["given"] == (bad if isinstance(bad, str) else json.dumps(bad, ensure_ascii=False))


def test_the_other_eye_than_on_the_list_of_the_same_file_is_refused(
    clinic, inside, file, entries, store
) -> None:
    before = entries()
    done = inside("import", file(case_data("01-wanjiru"), expected(eye="left")))
    assert done.returncode == 2
    assert "does not name the right eye" in done.stderr
    assert entries() == before


def test_a_record_that_differs_from_the_stored_one_is_refused_and_not_taken_for_a_correction(
    clinic, inside, file, store
) -> None:
    assert inside("import", file(case_data("01-wanjiru"))).returncode == 0
    other = case_data("01-wanjiru")
    other["patient"]["name"] = "Someone Else"
    done = inside("import", file(other), "--refused", "back.jsonl")
    assert (done.returncode, "the row says Someone Else" in done.stderr, "back.jsonl" in done.stderr) == (
        2,
        True,
        True,
    )
    with store.read() as session:
        assert patient_by_code(session, "C-0001").name == "Wanjiru Njoroge"


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.jsonl", b"", "no rows"),
        ("a.jsonl", b"\xef\xbb\xbf\n \n", "no rows"),
        ("a.csv", b"on,code,name\n", "must name the columns"),
        ("a.csv", b"\xff\xfe\x00", "not a CSV table"),
        ("a.csv", b'on,code,name,eye\n2026-03-02,K-1,"A\n', "not a CSV table"),
        ("a.csv", b"on,code,name,eye\n2026-03-02,K-1,A\n", "not four cells"),
        ("a.jsonl", b"\xff\n", "not UTF-8"),
        ("a.jsonl", b'{"on":"2026-03-02","code":"K","name":"\\ud800","eye":"left"}\n', "name"),
    ],
)
def test_a_file_that_can_not_be_taken_is_refused_in_one_line(
    clinic, inside, tmp_path, name, content, said
) -> None:
    (tmp_path / name).write_bytes(content)
    done = inside("import", name)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert said in done.stderr


def test_an_imported_patient_belongs_to_the_site_that_is_named(clinic, inside, file, store) -> None:
    assert inside("site", "put", "HILL", "--name", "Hill room").returncode == 0
    path = file(expected(), case_data("01-wanjiru"))
    assert inside("import", path, "--site", "NOWHERE").returncode == 2
    assert inside("import", path, "--site", "HILL").returncode == 0
    with store.for_site(1).read() as session:
        assert patient_by_code(session, "C-0001") is None
        assert operation_list(session, date(2026, 3, 2)) == ()
    with store.for_site(2).read() as session:
        assert patient_by_code(session, "C-0001") is not None
        assert len(operation_list(session, date(2026, 3, 2))) == 1


def test_a_row_with_a_name_that_no_font_prints_is_refused_with_its_character(clinic, inside, file) -> None:
    wanjiru = case_data("01-wanjiru")
    wanjiru["patient"]["name"] = "강민"
    refused = inside("import", file(wanjiru))
    assert refused.returncode == 2
    assert "U+AC15 (hangul syllable gang)" in refused.stderr + refused.stdout
    wanjiru["patient"]["name_latin"] = "Kang Min"
    assert inside("import", file(wanjiru)).returncode == 0


def test_plans_are_built_before_anything_is_stored_and_again_where_the_clinics_places_changed(
    clinic, store, inside, file, monkeypatch
) -> None:
    """Whoever works at the desks can store meanwhile: it is done here while a plan is built."""
    built = []

    def busy(hand, record, calendar):
        if not built:
            with store.write(SYSTEM, hand.now) as unit:
                take_places(unit, calendar, services=["photo"], day=_PLACE, overbook=["photo"])
                unit.log("a place taken", "clinic")
        built.append(record.patient.code)
        return planned_first(hand, record, calendar)

    monkeypatch.setattr("followup.care.records.importing.planned_first", busy)
    done = inside("import", file(case_data("01-wanjiru"), case_data("02-tom")))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == "2 records and 0 lines of operation lists stored.\n"
    assert [built.count(code) for code in dict.fromkeys(built)] == [2, 2]
    with store.read() as session:
        assert len(plans_of(session, patient_by_code(session, "C-0002").id)) == 1
