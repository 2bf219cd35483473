"""``followup import --mapping``: a clinic's own tables, whole or their good rows, on both databases."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from xlsxwriter import Workbook

from followup.care.records.importing import look_at, store_good, store_whole
from followup.care.records.tables import read_table
from followup.cli.hand import command_hand
from followup.cli.opening import settings_from
from followup.demo.cast import case_data
from followup.exchange.lists.handed_back import REASON
from followup.exchange.lists.mapping import ListMapping
from followup.exchange.lists.table import FileForm, Table
from followup.exchange.lists.workbook import read_file
from followup.exchange.lists.writing import written
from followup.records.desk.attempts import set_standing
from followup.records.people.oplist import ListLine, operation_list
from followup.records.people.patients import (
    correct_record,
    newest_record,
    patient_by_code,
    record_versions,
)
from followup.records.plans.plans import plans_of
from followup.records.store.journal import journal_of
from followup.records.views import Actor

DAY, NEXT = date(2026, 3, 2), date(2026, 3, 3)
COLUMNS = {"on": "Date", "code": "MRN", "name": "Patient", "eye": "Eye"}
WORDS = {"eye": {"R/E": "right", "L/E": "left"}}
MORE = {
    "operations.0.eye_drawn": "Marked",
    "operations.0.procedure": "Op",
    "operations.0.surgeon": "Surgeon",
    "operations.0.watertight": "Tight",
    "patient.birth_date": "Born",
}
MORE_WORDS = WORDS | {
    "operations.0.eye_drawn": {"OD": "right", "OS": "left"},
    "operations.0.procedure": {"phaco": "phacoemulsification"},
}
HEAD = ("Date", "MRN", "Patient", "Eye", "Marked", "Op", "Surgeon", "Tight", "Born")
GOOD = [
    (DAY, "N-1", "Amina Yusuf", "R/E", "OD", "phaco", "Dr Sen", "yes", date(1950, 5, 6)),
    (DAY, "N-2", "Zoë Brontë", "L/E", "OS", "phaco", "", "", date(1948, 1, 2)),
    (NEXT, "N-3", "José Ñandú", "R/E", "OD", "phaco", "Dr Sen", "no", date(1961, 9, 30)),
]


@pytest.fixture
def mapped(clinic, inside, tmp_path):
    """Keeps a mapping under the name "theatre"; without words the list's four columns alone."""

    def keep(**told) -> None:
        told = {"columns": COLUMNS, "words": WORDS} | told
        (tmp_path / "mapping.json").write_text(json.dumps(told), "utf-8")
        done = inside("mapping", "put", "theatre", str(tmp_path / "mapping.json"))
        assert (done.returncode, done.stderr) == (0, "")

    return keep


@pytest.fixture
def table(tmp_path):
    """Writes a table; the file's name."""

    def write(*rows, kind="xlsx", head=HEAD) -> str:
        path = tmp_path / f"list.{kind}"
        path.write_bytes(written(Table("List", (tuple(head), *map(tuple, rows))), FileForm(kind)))
        return str(path)

    return write


def back_of(path: str):
    """The refused rows that came back: the heading and the rows."""
    (found,) = Path(path).parent.glob(f"{Path(path).name}.refused.*")
    head, *rows = read_file(found.read_bytes(), found.name).tables[0].rows
    assert found.suffix == Path(path).suffix
    return head, rows


@pytest.mark.usefixtures("database_kind")
@pytest.mark.parametrize("kind", ["csv", "xlsx", "ods"])
def test_a_clinics_own_table_gives_lists_and_records_and_a_second_time_changes_nothing(
    clinic, store, inside, mapped, table, entries, kind
) -> None:
    mapped(columns=COLUMNS | MORE, words=MORE_WORDS)
    path = table(*GOOD, kind=kind)
    dry = inside("import", path, "--mapping", "theatre", "--dry-run")
    told = dry.stdout.splitlines()
    assert told[-1] == "3 records and 3 lines of operation lists would be stored."
    assert told[-4] == "row 2: N-1, right eye, 2026-03-02: new patient"
    assert ("Read as UTF-8, with , between cells." in told) is (kind == "csv")
    before = entries()
    done = inside("import", path, "--mapping", "theatre")
    assert (done.stdout, done.stderr) == ("3 records and 3 lines of operation lists stored.\n", "")
    assert entries() > before
    with store.read() as session:
        assert operation_list(session, DAY) == (
            ListLine("N-1", "Amina Yusuf", "right"),
            ListLine("N-2", "Zoë Brontë", "left"),
        )
        patient = patient_by_code(session, "N-1")
        assert (patient.birth_date, len(plans_of(session, patient.id))) == (date(1950, 5, 6), 1)
        assert journal_of(session, "mapping:theatre")[0].action == "list mapping set"
    before = entries()
    again = inside("import", path, "--mapping", "theatre")
    assert again.stdout == ("0 records and 0 lines of operation lists stored; 3 rows were there already.\n")
    assert entries() == before


def test_lines_are_added_to_what_a_day_holds_already_and_nothing_is_taken_out(
    clinic, store, inside, mapped, table
) -> None:
    mapped()
    assert inside("import", table(GOOD[0]), "--mapping", "theatre").returncode == 0
    assert inside("import", table(GOOD[1]), "--mapping", "theatre").returncode == 0
    with store.read() as session:
        assert [line.patient_code for line in operation_list(session, DAY)] == ["N-1", "N-2"]


BAD = [
    ((DAY, "N-9", "A", "both"), "column Eye: both is none of right, left"),
    (("03/04/2026", "N-9", "A", "R/E"), "column Date: 03/04/2026 can be 2026-03-04 or 2026-04-03"),
    ((DAY, "N 9", "A", "R/E"), "column MRN: is not written in the right form"),
    ((DAY, "N-9", "", "R/E"), "column Patient: must be filled in"),
    ((DAY, "n-1", "Amina Yusuf", "R/E"), "column MRN: the same day, code and eye stand in row 2 too"),
    ((NEXT, "N-1", "Amina Begum", "L/E"), "column Patient: row 2 has this code with the name Amina Yusuf"),
]


@pytest.mark.parametrize(("bad", "why"), BAD)
@pytest.mark.parametrize("kind", ["csv", "ods"])
def test_one_bad_row_stores_nothing_and_comes_back_alone_in_the_same_kind_of_file(
    clinic, store, inside, mapped, table, entries, bad, why, kind
) -> None:
    mapped()
    path, before = table(GOOD[0][:4], bad, GOOD[1][:4], kind=kind, head=HEAD[:4]), entries()
    done = inside("import", path, "--mapping", "theatre")
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert f"1 row was refused and nothing was stored: row 3: {why}" in done.stderr
    assert entries() == before
    head, rows = back_of(path)
    assert head == (*HEAD[:4], REASON)
    assert [row[1] for row in rows] == [bad[1]]
    assert rows[0][4].startswith(why)


def test_good_rows_are_stored_where_asked_and_the_mended_rest_afterwards(
    clinic, store, inside, mapped, table
) -> None:
    mapped(columns=COLUMNS | MORE, words=MORE_WORDS)
    bad = (DAY, "N-4", "Tom Hill", "R/E", "OS", "phaco", "", "", date(1950, 1, 1))
    path = table(GOOD[0], bad, *GOOD[1:])
    done = inside("import", path, "--mapping", "theatre", "--rows", "good")
    assert (done.returncode, done.stdout) == (2, "3 records and 3 lines of operation lists stored.\n")
    assert "1 row was refused: row 3: " in done.stderr
    _, ((*cells, why),) = back_of(path)
    assert cells == list(bad)
    assert "confirm the eye" in why
    mended = table((*bad[:4], "OD", *bad[5:], why), head=(*HEAD, REASON))
    assert inside("import", mended, "--mapping", "theatre").stdout == (
        "1 record and 1 line of operation lists stored.\n"
    )
    with store.read() as session:
        assert [line.patient_code for line in operation_list(session, DAY)] == ["N-1", "N-2", "N-4"]


@pytest.mark.usefixtures("database_kind")
def test_what_the_record_or_the_stored_list_says_otherwise_is_refused(
    clinic, store, inside, mapped, table, record_file, next_noon
) -> None:
    case = case_data("01-wanjiru")
    code, name = case["patient"]["code"], case["patient"]["name"]
    on, eye = date.fromisoformat(case["operations"][0]["date"]), case["operations"][0]["eye"]
    other = "left" if eye == "right" else "right"
    (Path(record_file()).with_suffix(".jsonl")).write_text(json.dumps(case), "utf-8")
    assert inside("import", str(Path(record_file()).with_suffix(".jsonl"))).returncode == 0
    mapped()
    assert inside("import", table((DAY, "N-1", "A", "R/E")), "--mapping", "theatre").returncode == 0

    def refused(*row) -> str:
        done = inside("import", table(row, head=HEAD[:4]), "--mapping", "theatre")
        assert done.returncode == 2
        return done.stderr

    assert f"column Eye: the record has the operation of {on} on the {eye} eye" in refused(
        on, code, name, other
    )
    assert f"column Patient: the row says Somebody Else, the record of {code} says {name}" in refused(
        DAY, code, "Somebody Else", eye
    )
    assert "column Eye: the stored list of 2026-03-02 names the right eye" in refused(DAY, "N-1", "A", "L/E")
    assert "the stored list has this code with the name A" in refused(DAY, "N-1", "B", "R/E")
    for standing in ("moved away", "died"):
        with store.write(Actor("meena", frozenset({"reception"})), next_noon) as unit:
            known = patient_by_code(unit.session, code)
            set_standing(unit, patient_id=known.id, standing=standing, reason="told by the daughter")
        assert f"column MRN: this patient is recorded as {standing}" in refused(NEXT, code, name, other)


def test_both_eyes_of_a_patient_are_one_record_and_one_bad_row_of_them_keeps_both_out(
    clinic, store, inside, mapped, table
) -> None:
    mapped(columns=COLUMNS | MORE, words=MORE_WORDS)
    right, left = GOOD[0], (NEXT, *GOOD[0][1:3], "L/E", "OS", *GOOD[0][5:])
    done = inside(
        "import", table(right, (*left[:7], "perhaps", left[8])), "--mapping", "theatre", "--rows", "good"
    )
    assert done.stdout.startswith("0 records and 0 lines")
    assert "2 rows were refused: row 2: row 3 of the same patient can't be taken" in done.stderr
    other = (*left[:8], date(1950, 5, 7))
    path = table(right, other)
    assert inside("import", path, "--mapping", "theatre").returncode == 2
    assert [row[-1] for row in back_of(path)[1]] == [
        "row 3 of the same patient can't be taken",
        "column Born: row 2 of the same patient says otherwise",
    ]
    assert inside("import", table(right, left), "--mapping", "theatre").stdout.startswith(
        "1 record and 2 lines"
    )


LATER = date(2026, 4, 20)
SECOND = (LATER, *GOOD[0][1:3], "L/E", "OS", *GOOD[0][5:])


@pytest.mark.usefixtures("database_kind")
@pytest.mark.parametrize("rows", ["whole", "good"])
def test_the_second_eye_of_a_known_patient_joins_the_record_as_by_hand_and_once(
    clinic, store, inside, mapped, table, entries, rows
) -> None:
    """A clinic that sends its whole list each day: the first eye stands in it still."""
    mapped(columns=COLUMNS | MORE, words=MORE_WORDS)
    inside("import", table(GOOD[0]), "--mapping", "theatre")
    path = table(GOOD[0], SECOND, GOOD[2])
    before, dry = entries(), inside("import", path, "--mapping", "theatre", "--dry-run")
    assert dry.stdout == (
        "row 2: N-1, right eye, 2026-03-02: already here\n"
        "row 3: N-1, left eye, 2026-04-20: another operation of a known patient\n"
        "row 4: N-3, right eye, 2026-03-03: new patient\n"
        "1 record, 1 operation of a known patient and 2 lines of operation lists would be stored; "
        "1 row was there already.\n"
    )
    assert entries() == before
    done = inside("import", path, "--mapping", "theatre", "--rows", rows)
    assert done.stdout == dry.stdout.splitlines()[-1].replace("would be stored", "stored") + "\n"
    with store.read() as session:
        known = patient_by_code(session, "N-1")
        newest, first = record_versions(session, known.id)
        plan, before_it = plans_of(session, known.id)
    assert newest.record.patient == first.record.patient
    assert [(one.eye, one.date) for one in newest.record.operations] == [("right", DAY), ("left", LATER)]
    assert newest.record.operations[0] == first.record.operations[0]
    assert (plan.record_number, plan.status, before_it.status) == (2, "draft", "revoked")
    before = entries()
    assert "3 rows were there already" in inside("import", path, "--mapping", "theatre").stdout
    assert entries() == before


DESCRIBED = {"patient.telephones.0.number": "Mobile", "patient.conditions.asthma": "Asthma"}


@pytest.mark.parametrize(
    ("at", "value", "why"),
    [
        (8, date(1951, 5, 6), "column Born: the row says 1951-05-06, the record of N-1 says 1950-05-06"),
        (9, "+91 99 02", "column Mobile: the row says +91 99 02, the record of N-1 says +91 99 01"),
        (
            2,
            "Amina Begum",
            "column Patient: the row says Amina Begum, the record of N-1 says Amina Yusuf",
        ),
        (10, "yes", "column Asthma: the row says yes, the record of N-1 says nothing there"),
    ],
)
def test_another_operation_of_somebody_who_is_described_otherwise_is_refused(
    clinic, inside, mapped, table, entries, at, value, why
) -> None:
    mapped(columns=COLUMNS | MORE | DESCRIBED, words=MORE_WORDS)
    head = (*HEAD, "Mobile", "Asthma")
    inside("import", table((*GOOD[0], "+91 99 01", ""), head=head), "--mapping", "theatre")
    row = [*SECOND, "+91 99 01", ""]
    row[at] = value
    for rows in ("whole", "good"):
        before = entries()
        done = inside("import", table(row, head=head), "--mapping", "theatre", "--rows", rows)
        assert (done.returncode, why in done.stderr, entries()) == (2, True, before), done.stderr


def test_a_changed_operation_and_the_operation_of_a_dead_patient_are_refused(
    clinic, store, inside, mapped, table, next_noon, tmp_path
) -> None:
    mapped(columns=COLUMNS | MORE, words=MORE_WORDS)
    inside("import", table(GOOD[0]), "--mapping", "theatre")
    other = (*GOOD[0][:6], "Dr Rao", *GOOD[0][7:])
    done = inside("import", table(other, SECOND), "--mapping", "theatre", "--rows", "good")
    assert "column Surgeon: the row says Dr Rao, the record of N-1 says Dr Sen" in done.stderr
    with store.read() as session:
        known = patient_by_code(session, "N-1")
        record = newest_record(session, known.id).record
    with store.write(Actor("meena", frozenset({"reception"})), next_noon) as unit:
        set_standing(unit, patient_id=known.id, standing="died", reason="told by the daughter")
    done = inside("import", table(SECOND), "--mapping", "theatre")
    assert "column MRN: this patient is recorded as died" in done.stderr
    again = json.loads(record.model_dump_json(exclude_defaults=True))
    again["operations"][0] |= {"date": LATER.isoformat(), "eye": "left", "eye_drawn": "left"}
    (tmp_path / "one.jsonl").write_text(json.dumps(again), "utf-8")
    assert "this patient is recorded as died" in inside("import", str(tmp_path / "one.jsonl")).stderr


def test_a_row_of_before_a_correction_stays_there_beside_the_second_eye(
    clinic, store, inside, mapped, table, next_noon
) -> None:
    mapped(columns=COLUMNS | MORE, words=MORE_WORDS)
    inside("import", table(GOOD[0]), "--mapping", "theatre")
    with store.write(Actor("asha", frozenset({"counsellor"})), next_noon) as unit:
        known = newest_record(unit.session, patient_by_code(unit.session, "N-1").id)
        mended = known.record.operations[0].model_copy(update={"surgeon": "Dr Rao"})
        record = known.record.model_copy(update={"operations": (mended,)})
        correct_record(unit, patient_id=known.patient_id, record=record, seen=1)
    assert "1 operation of a known" in inside("import", table(GOOD[0], SECOND), "--mapping", "theatre").stdout
    with store.read() as session:
        newest = newest_record(session, known.patient_id).record
    assert [one.surgeon for one in newest.operations] == ["Dr Rao", "Dr Sen"]


def test_letters_that_were_guessed_are_told_as_a_guess(clinic, inside, mapped, table) -> None:
    mapped()
    path = table(GOOD[1][:4], kind="csv", head=HEAD[:4])
    text = Path(path).read_text("utf-8-sig").replace(",", ";")
    Path(path).write_bytes(text.encode("cp1252"))
    told = inside("import", path, "--mapping", "theatre", "--dry-run").stdout
    assert told.startswith("The letters were guessed: Western Windows (cp1252), with ; between cells.")


def test_a_record_without_what_every_record_needs_is_refused_by_its_column(
    clinic, inside, mapped, table
) -> None:
    mapped(columns=COLUMNS | MORE, words=MORE_WORDS)
    done = inside("import", table((*GOOD[0][:8], "")), "--mapping", "theatre")
    assert done.returncode == 2
    assert "row 2: " in done.stderr
    assert "birth" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("--mapping", "theater"), "there is no mapping theater; there are theatre"),
        (("--dry-run",), "--dry-run and --rows need --mapping"),
        (("--rows", "good"), "--dry-run and --rows need --mapping"),
    ],
)
def test_what_can_not_be_meant_is_said(clinic, inside, mapped, table, arguments, why) -> None:
    mapped()
    done = inside("import", table(GOOD[0]), *arguments)
    assert (done.returncode, why in done.stderr) == (2, True)


def test_a_file_larger_than_any_list_is_not_read_to_its_end(clinic, inside, mapped, tmp_path) -> None:
    mapped()
    with (tmp_path / "large.xlsx").open("wb") as file:
        file.truncate(1_000_000_000)
    done = inside("import", str(tmp_path / "large.xlsx"), "--mapping", "theatre")
    assert (done.returncode, "larger than" in done.stderr) == (2, True)


def test_a_mapping_is_guessed_shown_kept_and_told_what_it_may_hold(clinic, inside, mapped, table) -> None:
    mapped()
    guess = json.loads(
        inside("mapping", "guess", table(GOOD[0], head=("DOS", "MRN", "Patient", "Eye"))).stdout
    )
    assert guess == {
        "columns": {"on": "DOS", "code": "MRN", "name": "Patient", "eye": "Eye"},
        "words": {"eye": {"R/E": "right"}},
    }
    assert json.loads(inside("mapping", "show", "theatre").stdout) == {"columns": COLUMNS, "words": WORDS}
    assert inside("mapping", "list").stdout == "theatre\n"
    fields = inside("mapping", "fields").stdout
    assert "eye: right, left\n" in fields
    assert "operations.0.products" not in fields


@pytest.mark.parametrize("order", [("Notes", "List"), ("List", "Notes")])
def test_of_several_sheets_the_mapping_is_guessed_of_the_one_that_tells_most(inside, tmp_path, order) -> None:
    sheets = {"Notes": (("Patient", "Remark"), ("Amina Yusuf", "late")), "List": (HEAD[:4], GOOD[0][:4])}
    path = tmp_path / "list.xlsx"
    with Workbook(path) as book:
        for name in order:
            sheet = book.add_worksheet(name)
            for number, row in enumerate(sheets[name]):
                sheet.write_row(number, 0, list(map(str, row)))
    assert set(json.loads(inside("mapping", "guess", str(path)).stdout)["columns"]) == {*COLUMNS}


@pytest.mark.long
def test_ten_thousand_rows_are_stored_whole(clinic, store, environment) -> None:
    rows = [(date(2026, 1, 1 + n % 28), f"L-{n}", f"Person {n}", "R/E") for n in range(10_000)]
    content = written(Table("L", (HEAD[:4], *rows)), FileForm("csv"))
    hand = command_hand(settings_from(environment["FOLLOWUP_FOLDER"]), store)
    read = read_table(content, "list.csv", ListMapping(columns=COLUMNS, words=WORDS))
    assert store_whole(hand, read.says, adding=True).listed == 10_000
    assert look_at(hand, read.says).known == 10_000


NAMES = st.sampled_from(["A", "B", "=C", "Zoë"])
LINES = st.tuples(
    st.dates(date(2026, 1, 1), date(2026, 1, 3)),
    st.sampled_from(["K-1", "K-2", "K-3", "bad code"]),
    NAMES,
    st.sampled_from(["R/E", "L/E", "?"]),
)


def test_whatever_list_comes_a_second_time_it_changes_nothing(clinic, store, environment, entries) -> None:
    """The lists grow from example to example, so that later ones meet what stands there already."""
    hand = command_hand(settings_from(environment["FOLLOWUP_FOLDER"]), store)
    stored = []

    @given(rows=st.lists(LINES, max_size=8), kind=st.sampled_from(["csv", "xlsx", "ods"]))
    @settings(max_examples=40, deadline=None)
    def twice(rows, kind) -> None:
        content = written(Table("L", (HEAD[:4], *rows)), FileForm(kind))
        read = read_table(content, "list", ListMapping(columns=COLUMNS, words=WORDS))
        first = store_good(hand, read.says)
        stored.append(first.listed)
        before = entries()
        again = store_good(hand, read.says)
        assert (again.listed, again.refused, entries()) == (0, first.refused, before)

    twice()
    assert sum(stored) > 3
