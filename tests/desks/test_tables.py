"""The counsellor's way with the clinic's own table: sent in, its columns named, looked at, stored."""

from __future__ import annotations

import threading
from datetime import date, timedelta

import pytest

from followup.care.records import list_imports
from followup.exchange.lists.handed_back import REASON
from followup.exchange.lists.table import FileForm, Table
from followup.exchange.lists.workbook import read_file
from followup.exchange.lists.writing import written
from followup.records.house.mappings import mapping_names
from followup.records.house.staff import add_staff
from followup.records.people.oplist import operation_list
from followup.records.people.patients import patient_by_code
from followup.records.store.journal import verify_journal
from followup.records.views import SYSTEM

DAY = date(2027, 3, 2)
HEAD = ("Surgery date", "MRN", "Patient", "Eye", "Remarks")
ROWS = [
    (DAY, "T-1", "Amina Yusuf", "R/E", "first"),
    (DAY, "T-2", "Zoë Brontë", "L/E", ""),
]
BAD = (DAY, "T-3", "José Ñandú", "OU", "=1+1")


def table(*rows, kind="xlsx", head=HEAD) -> tuple[str, bytes]:
    return f"april.{kind}", written(Table("April", (head, *rows)), FileForm(kind))


@pytest.fixture
def counsellor(house):
    return house.enter("counsellor")


@pytest.fixture
def send(counsellor):
    """Sends a file in; where its pages lie."""

    def sent(file, mapping="") -> str:
        answer = counsellor.post("/operations/tables", files={"file": file}, data={"mapping": mapping})
        assert answer.status_code == 303, answer.text
        return answer.headers["location"].removesuffix("/columns")

    return sent


@pytest.fixture
def looked(counsellor, send, form_of):
    """Sends a file in and keeps what its page proposes, with what is changed; where its pages lie."""

    def proposed(file, **changes) -> str:
        where = send(file)
        form = form_of(counsellor.get(f"{where}/columns").text, "")
        answer = counsellor.post(f"{where}/columns", data=form | {"name": "theatre"} | changes)
        assert (answer.status_code, answer.headers.get("location")) == (303, where), answer.text
        return where

    return proposed


@pytest.fixture
def entries(house):
    def count() -> int:
        with house.store.read() as session:
            return verify_journal(session).entries

    return count


def listed(house, day=DAY):
    with house.store.read() as session:
        return [(line.patient_code, line.eye) for line in operation_list(session, day)]


@pytest.mark.parametrize("kind", ["csv", "xlsx", "ods"])
def test_a_table_is_guessed_confirmed_looked_at_and_stored_and_nothing_before(
    house, counsellor, looked, words_of, entries, kind
) -> None:
    where = looked(table(*ROWS, kind=kind))
    before = entries()
    page = words_of(counsellor.get(where).text)
    assert "2 new lines of operation lists." in page
    assert "Amina Yusuf" in page
    assert (listed(house), entries()) == ([], before)
    assert counsellor.post(f"{where}/store", data={"rows": "whole"}).headers["location"] == where
    assert "2 lines of operation lists were stored." in words_of(counsellor.get(where).text)
    assert listed(house) == [("T-1", "right"), ("T-2", "left")]
    with house.store.read() as session:
        assert mapping_names(session) == ("theatre",)


def test_the_mapping_is_remembered_with_its_words_for_the_next_file(
    house, counsellor, send, looked, form_of
) -> None:
    where = looked(table(ROWS[0], (DAY, "T-2", "Zoë", "dextra", ""), head=HEAD))
    form = form_of(counsellor.get(f"{where}/columns").text, "")
    (word,) = (name for name, value in form.items() if value == ["dextra"])
    means = word.replace("word.", "means.")
    assert counsellor.post(f"{where}/columns", data=form | {means: "right"}).status_code == 303
    again = send(table((DAY, "T-9", "Asha", "dextra", "")), "theatre")
    form = form_of(counsellor.get(f"{again}/columns").text, "")
    assert form[means.rpartition(".")[0] + ".1"] == ["right"]
    assert (form["column.1"], form["column.5"], form["name"]) == (["on"], [""], ["theatre"])
    counsellor.post(f"{again}/columns", data=form)
    counsellor.post(f"{again}/store", data={"rows": "whole"})
    assert listed(house) == [("T-9", "right")]


def test_a_meaning_that_somebody_takes_away_is_gone_and_those_of_other_words_stay(
    counsellor, send, looked, form_of, words_of
) -> None:
    looked(table(*ROWS))
    other = send(table((DAY, "T-9", "Asha", "R/E", "")), "theatre")
    form = form_of(counsellor.get(f"{other}/columns").text, "")
    assert form["means.eye.1"] == ["right"]
    counsellor.post(f"{other}/columns", data=form | {"means.eye.1": ""})
    assert "1 row is refused." in words_of(counsellor.get(other).text)
    again = send(table(*ROWS), "theatre")
    form = form_of(counsellor.get(f"{again}/columns").text, "")
    assert (form["means.eye.1"], form["means.eye.2"]) == ([""], ["left"])


def test_the_page_says_what_comes_of_each_row_and_that_letters_were_guessed(
    counsellor, looked, words_of
) -> None:
    head = (*HEAD[:4], "Marked eye", "Operation", "DOB")
    first = (DAY.isoformat(), "T-1", "Zoë Brontë", "R/E", "OD", "phaco", "1950-05-06")
    second = ((DAY + timedelta(days=40)).isoformat(), *first[1:3], "L/E", "OS", *first[5:])
    where = looked(table(first, head=head, kind="csv"))
    counsellor.post(f"{where}/store", data={"rows": "whole"})
    name, content = table(first, second, head=head, kind="csv")
    where = looked((name, content.decode("utf-8-sig").encode("cp1252")))
    page = words_of(counsellor.get(where).text).replace("\u2068", "").replace("\u2069", "")
    assert "The letters were guessed: Western Windows (cp1252), with , between cells." in page
    assert "1 new operation of a known patient." in page
    assert "Zoë Brontë right eye already here" in page
    assert "Zoë Brontë left eye another operation of a known patient" in page
    counsellor.post(f"{where}/store", data={"rows": "whole"})
    assert "1 operation was added to the record of a known patient" in words_of(counsellor.get(where).text)


def test_more_records_than_one_piece_may_hold_go_in_steps(
    house, counsellor, looked, words_of, monkeypatch
) -> None:
    monkeypatch.setattr("followup.care.records.importing.MOST_RECORDS_AT_ONCE", 1)
    head = (*HEAD[:4], "Marked eye", "Operation", "DOB")
    rows = [(DAY, f"T-{n}", "Amina Yusuf", "R/E", "OD", "phaco", date(1950, 5, 6)) for n in (1, 2)]
    where = looked(table(*rows, head=head))
    with monkeypatch.context() as no_plan:
        # Refused before the plans are made, which would take minutes.
        no_plan.delattr("followup.care.records.importing._first_plan")
        counsellor.post(f"{where}/store", data={"rows": "whole"})
    page = words_of(counsellor.get(where).text)
    assert "2 new records in one piece would keep everybody else waiting; at most 1 go in whole" in page
    assert "2 new records with their draft plans." in page
    assert listed(house) == []
    counsellor.post(f"{where}/store", data={"rows": "good"})
    assert "2 records were stored with their draft plans." in words_of(counsellor.get(where).text)


def test_a_bad_row_is_told_with_its_place_and_comes_back_as_the_file_it_was(
    house, counsellor, looked, words_of
) -> None:
    where = looked(table(*ROWS, BAD))
    page = words_of(counsellor.get(where).text).replace("\u2068", "").replace("\u2069", "")
    assert "1 row is refused." in page
    assert "Row 4 column Eye: OU is none of right, left, and the mapping does not say what it means" in page
    back = counsellor.get(f"{where}/refused")
    assert "april.refused.xlsx" in back.headers["content-disposition"]
    head, row = read_file(back.content, "back").tables[0].rows
    assert (head, row[:5]) == ((*HEAD, REASON), BAD)
    whole = counsellor.post(f"{where}/store", data={"rows": "whole"})
    assert (whole.status_code, listed(house)) == (303, [])
    assert "1 row is refused." in words_of(counsellor.get(where).text)
    counsellor.post(f"{where}/store", data={"rows": "good"})
    assert "2 lines of operation lists were stored." in words_of(counsellor.get(where).text)
    assert listed(house) == [("T-1", "right"), ("T-2", "left")]


def test_the_same_table_again_changes_nothing_and_says_so(
    house, counsellor, looked, words_of, entries
) -> None:
    counsellor.post(f"{looked(table(*ROWS))}/store", data={"rows": "whole"})
    before = entries()
    page = words_of(counsellor.get(looked(table(*ROWS))).text)
    assert "2 rows were there already." in page
    assert "Store all rows" not in page
    assert entries() == before


def test_columns_of_the_operation_make_records_with_their_plans(house, counsellor, looked, words_of) -> None:
    head = (*HEAD[:4], "Marked eye", "Operation", "DOB")
    row = (*ROWS[0][:4], "OD", "phaco", date(1950, 5, 6))
    where = looked(table(row, head=head))
    assert "1 new record with its draft plan." in words_of(counsellor.get(where).text)
    counsellor.post(f"{where}/store", data={"rows": "whole"})
    assert "1 record was stored with its draft plan." in words_of(counsellor.get(where).text)
    with house.store.read() as session:
        assert patient_by_code(session, "T-1").birth_date == date(1950, 5, 6)
    assert "plan to sign" in counsellor.get(f"/operations?on={DAY}").text


def test_what_a_mapping_can_not_be_is_said_and_what_was_chosen_stays(
    counsellor, send, form_of, words_of
) -> None:
    where = send(table(*ROWS))
    form = form_of(counsellor.get(f"{where}/columns").text, "") | {"name": "theatre"}
    for changed, why in (
        ({"column.1": ""}, "no column is the field on"),
        ({"column.5": "eye"}, "two columns are"),
        ({"column.5": "operations.0.surgeon"}, "a record needs the eye told a second time"),
        ({"name": ""}, "the mapping needs a name"),
    ):
        answer = counsellor.post(f"{where}/columns", data=form | changed)
        assert (answer.status_code, why in words_of(answer.text)) == (422, True), answer.text
        shown = form_of(answer.text, "")
        assert [shown[f"column.{n}"] for n in (2, 3, 4)] == [["code"], ["name"], ["eye"]]


@pytest.mark.parametrize(
    ("file", "why"),
    [
        (("a.xlsx", b"PK\x03\x04half"), "damaged, or was not written to its end"),
        (("a.csv", b"\n\n"), "the file holds no rows"),
        (("a.pdf", b"%PDF\0"), "no table, or its letters can't be read"),
        (("", b""), "no file was chosen"),
    ],
)
def test_a_file_that_is_no_table_is_refused_where_it_was_chosen(counsellor, words_of, file, why) -> None:
    answer = counsellor.post("/operations/tables", files={"file": file} if file[0] else {})
    assert (answer.status_code, why in words_of(answer.text)) == (422, True), answer.text


def test_a_file_is_its_senders_alone_and_gone_after_a_day(house, counsellor, looked) -> None:
    where = looked(table(*ROWS, BAD))
    with house.store.write(SYSTEM, house.clock.now) as unit:
        add_staff(unit, login="meena", name="Meena", roles=["counsellor"], password_hash="-")
    assert house.enter("meena").get(where).status_code == 404
    assert house.enter("meena").get(f"{where}/refused").status_code == 404
    assert counsellor.get(where[:-1] + ("0" if where[-1] != "0" else "1")).status_code == 404
    house.clock.now += timedelta(days=1, minutes=1)
    again = house.enter("counsellor")
    again.post("/operations/tables", files={"file": table(*ROWS)})
    assert again.get(where).status_code == 404


def test_while_it_is_stored_the_page_says_how_far_it_is_and_who_presses_again_starts_nothing(
    house, counsellor, looked, words_of, monkeypatch
) -> None:
    where = looked(table(*ROWS))
    inside, go_on, done = threading.Event(), threading.Event(), []

    def slow(hand, rows, **more):
        more["told"](1, 2)
        inside.set()
        assert go_on.wait(20)
        done.append(1)
        return list_imports.ImportTally(listed=2)

    monkeypatch.setattr(list_imports, "store_whole", slow)
    monkeypatch.setattr(list_imports, "_NOTE_EVERY", 0.0)
    storing = threading.Thread(target=lambda: counsellor.post(f"{where}/store", data={"rows": "whole"}))
    storing.start()
    assert inside.wait(20)
    second = house.enter("counsellor")
    answer = second.get(where)
    assert "1 of 2 plans are made" in words_of(answer.text)
    assert answer.headers["refresh"] == "2"
    assert second.post(f"{where}/store", data={"rows": "whole"}).status_code == 303
    house.clock.now += timedelta(minutes=3)
    assert "This stopped before its end." in words_of(second.get(where).text)
    go_on.set()
    storing.join(20)
    assert done == [1]
    assert "2 lines of operation lists were stored." in words_of(second.get(where).text)
