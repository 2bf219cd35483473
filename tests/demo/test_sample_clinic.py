"""The sample clinic as a visitor finds it: files, lists, people, and nothing that could be taken for real."""

from __future__ import annotations

import csv
import json
import re
from collections import Counter
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pypdfium2
import pytest
from sqlmodel import select

from followup.care.passwords import Passwords
from followup.care.plans.plan_view import record_of
from followup.care.sheets.content import printed_options
from followup.cli import cli
from followup.cli.contract import DONE, run
from followup.clinical.protocol.load import load_protocol
from followup.demo.build import PASSWORD
from followup.demo.cast import case_names
from followup.demo.clinic import NAME, STAFF, TIME_ZONE
from followup.language.catalogue_files import bind_clinic
from followup.language.catalogues import translator
from followup.recall.jobs.lists import DueLine, ReachLine, as_csv, due_lines, reach_lines
from followup.recall.reach.ladder import for_surgeon
from followup.recall.reach.worklist import worklist
from followup.records.desk.alerts import open_alerts
from followup.records.house.clinics import get_clinic
from followup.records.house.staff import all_staff
from followup.records.people.oplist import operations_on
from followup.records.people.patients import search_patients
from followup.records.plans.listed import drafts_waiting, plans_by_hand
from followup.records.plans.plans import plan
from followup.records.plans.sheets import sheets_of
from followup.records.store.journal import verify_journal
from followup.records.store.store import Store
from followup.records.tables import JournalRow, PatientRow
from followup.records.trips.trips import day_trips, trips_of
from followup.records.views import PatientView

# Ranges kept free for stories: Ofcom's numbers for drama, and 555-0100 to 555-0199 in North America.
RESERVED = re.compile(r"\+44 20 7946 0\d{3}|\+44 7700 900\d{3}|\+1 555 01\d\d")


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def patients(store: Store) -> list[dict[str, Any]]:
    with store.read() as session:
        return [row.model_dump() for row in session.exec(select(PatientRow))]


def by_name(store: Store, name: str) -> PatientView:
    with store.read() as session:
        (found,) = [p for p in search_patients(session, name) if p.code.startswith("C-")]
    return found


def test_it_is_made_without_a_word_too_many(made: Any) -> None:
    code, out, err = made.said
    assert code == 0
    assert out.count("\n") == 1
    # Whoever waits is told what goes on: the day, each week that is lived, the sheets that are set.
    lines = err.splitlines()
    assert lines[0].startswith("It is Wednesday 10 March 2027")
    weeks = [line.split()[2:5] for line in lines if line.startswith("Living week")]
    assert weeks == [[str(n), "of", f"{len(weeks)},"] for n in range(1, len(weeks) + 1)]
    assert len(weeks) >= 6
    assert lines[-1].startswith("Setting ")
    assert "to reach" in out


def test_the_folder_holds_sheets_two_lists_and_the_database(made: Any) -> None:
    assert {path.name for path in made.folder.iterdir()} == {
        "due.csv", "followup.sqlite3", "overdue.csv", "recall-keys.json", "sample-clinic.txt", "sheets",
    }  # fmt: skip
    assert len(list((made.folder / "sheets").glob("*.pdf"))) >= 30


def test_the_same_seed_and_day_give_the_same_bytes(made: Any) -> None:
    """Under another order of hashes and in another time zone, and whether written or printed from a page."""
    files = sorted(path.name for path in (made.twin / "sheets").iterdir())
    assert len(files) >= 10
    assert [
        name
        for name in files
        if (made.folder / "sheets" / name).read_bytes() != (made.twin / "sheets" / name).read_bytes()
    ] == []


def test_the_same_seed_and_day_give_the_same_two_lists(made: Any, twin: Store) -> None:
    now, protocol = datetime.combine(made.today, time(9), ZoneInfo(TIME_ZONE)), load_protocol()
    with twin.read() as session:
        due = due_lines(session, made.today, now, protocol.kinds)
        reach = reach_lines(session, now, translator("en", "desk"), protocol.kinds, protocol.recall)
    assert as_csv(DueLine, due) == (made.folder / "due.csv").read_bytes().decode()
    assert as_csv(ReachLine, reach) == (made.folder / "overdue.csv").read_bytes().decode()


def test_every_sheet_says_that_the_clinic_is_a_sample_and_carries_no_draft_mark(made: Any) -> None:
    english = bengali = 0
    for path in sorted((made.folder / "sheets").glob("*.pdf")):
        document = pypdfium2.PdfDocument(path)
        text = " ".join(" ".join(page.get_textpage().get_text_bounded() for page in document).split())
        document.close()
        # A page that runs from right to left gives back the words of a Latin name in another order.
        assert set(NAME.split()) <= set(text.split()), path.name
        english += "Sample clinic" in text
        bengali += "\u09a8\u09ae\u09c1\u09a8\u09be" in text
        assert "Not for the patient" not in text
    assert english >= 15
    assert bengali >= 1


def test_all_twelve_told_cases_are_among_the_patients(made: Any, store: Store) -> None:
    assert len(case_names()) == 12
    codes = {row["code"] for row in patients(store)}
    assert {f"C-{number:04d}" for number in range(1, 13)} <= codes
    assert len(codes) >= 40


def test_the_due_list_is_todays_and_some_have_arrived(made: Any) -> None:
    due = rows(made.folder / "due.csv")
    assert {row["day"] for row in due} == {made.today.isoformat()}
    assert {row["standing"] for row in due} >= {"due today"}
    assert all(row["telephones"] for row in due)
    # Whoever came without a visit, in danger, is here for no check of a plan.
    (walked_in,) = [row["standing"] for row in due if not row["for_what"]]
    assert walked_in == "here"


def test_the_list_to_reach_says_why_and_starts_with_the_only_seeing_eye(made: Any) -> None:
    reach = rows(made.folder / "overdue.csv")
    kinds = Counter(row["kind"] for row in reach)
    assert all(kinds[kind] for kind in ("overdue", "plan by hand", "plan incomplete", "new version"))
    assert (reach[0]["code"], reach[0]["kind"], reach[0]["tier"]) == ("C-0006", "overdue", "A")
    assert all(row["why"].endswith(".") for row in reach)
    assert {row["code"] for row in reach if row["kind"] == "plan by hand"} == {"C-0012"}


def test_ibrahim_whose_telephone_is_dead_stands_before_the_surgeon(made: Any, store: Store) -> None:
    (line,) = [row for row in rows(made.folder / "overdue.csv") if row["code"] == "C-0006"]
    assert "Next: tell the surgeon" in line["why"]
    now = datetime.combine(made.today, time(9), ZoneInfo(TIME_ZONE))
    rules = load_protocol().recall
    with store.read() as session:
        found = for_surgeon(worklist(session, now, rules), rules, made.today)
    assert [(one.line.patient.code, one.cause) for one in found] == [("C-0006", "unreachable")]
    assert [one.outcome for one in found[0].line.tried] == ["wrong number", "no answer", "no answer"]


@pytest.fixture
def unbound() -> Iterator[None]:
    """A command that runs in this process binds its clinic's own words; the tests after it have none."""
    yield
    bind_clinic(None)


def test_the_lists_of_the_command_line_are_those_of_the_files(
    made: Any, unbound: None, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, file in (("due", "due.csv"), ("overdue", "overdue.csv")):
        asked = [name, "--folder", str(made.folder), "--on", made.today.isoformat(), "--json"]
        assert run(cli, asked) == DONE
        told = json.loads(capsys.readouterr().out)
        assert [line["code"] for line in told] == [row["code"] for row in rows(made.folder / file)]


def test_everybody_of_the_staff_can_log_in(store: Store) -> None:
    with store.read() as session:
        staff = {person.login: person for person in all_staff(session)}
    assert set(staff) == {member.login for member in STAFF}
    passwords = Passwords()
    assert passwords.matches(staff["surgeon"].password_hash, PASSWORD)
    assert {role for person in staff.values() for role in person.roles} == {
        "counsellor", "reception", "surgeon", "pharmacy", "manager",
    }  # fmt: skip


def test_only_reserved_telephone_numbers_are_used(store: Store) -> None:
    with store.read() as session:
        clinic = get_clinic(session)
    assert clinic.is_sample
    numbers = [clinic.phone_day, clinic.phone_night]
    numbers += [phone["number"] for row in patients(store) for phone in row["telephones"]]
    assert len(numbers) > 60
    assert [number for number in numbers if not RESERVED.fullmatch(number)] == []


def test_the_childs_plan_waits_to_be_made_by_hand(store: Store) -> None:
    with store.read() as session:
        (listed,) = plans_by_hand(session)
        by_hand = plan(session, listed.id)
    assert by_hand.patient_code == "C-0012"
    assert by_hand.body.refused


def test_a_lost_sheet_was_printed_again_with_a_reason(store: Store) -> None:
    with store.read() as session:
        first, second = sheets_of(session, by_name(store, "Devika").id)
    assert (first.issue, second.issue) == (1, 2)
    assert "lost" in second.reason
    assert first.plan_id == second.plan_id


def test_whoever_can_not_read_gets_pictures_from_the_sample_clinic(store: Store) -> None:
    seen = set()
    with store.read() as session:
        for row in session.exec(select(PatientRow)):
            for sheet in sheets_of(session, row.id):
                reads = record_of(session, plan(session, sheet.plan_id)).record.patient.can_read
                options = printed_options(session, sheet.id)
                assert options.pictures == (reads is False), sheet.patient_code
                assert not options.calendar, sheet.patient_code
                seen.add(reads)
    assert {True, False} <= seen


def test_who_never_came_back_has_an_overdue_visit_and_who_came_has_none(store: Store) -> None:
    with store.read() as session:
        ibrahim = trips_of(session, by_name(store, "Ibrahim").id)
        wanjiru = trips_of(session, by_name(store, "Wanjiru").id)
    assert [trip.status for trip in ibrahim][:2] == ["fulfilled", "booked"]
    assert ibrahim[1].window_end < ibrahim[-1].window_end
    assert {trip.status for trip in wanjiru if trip.status != "cancelled"} == {"fulfilled"}


def test_todays_operations_stand_at_every_stage(made: Any, store: Store) -> None:
    with store.read() as session:
        lines = operations_on(session, made.today)
        waiting = [plan(session, draft.id) for draft in drafts_waiting(session)]
        ahead = [operations_on(session, made.today + timedelta(days=day)) for day in range(1, 14)]
    assert Counter(line.plan_status for line in lines) == {"draft": 2, "active": 2}
    assert {plan.body.signable for plan in waiting} == {True, False}
    assert sum(len(day) for day in ahead) >= 8
    assert all(line.patient_id is None for day in ahead for line in day)


def test_the_journal_is_whole_in_order_and_never_ahead_of_its_day(made: Any, store: Store) -> None:
    with store.read() as session:
        assert verify_journal(session).entries > 500
        moments: list[datetime] = [
            row.at for row in session.exec(select(JournalRow).order_by(JournalRow.number))
        ]  # type: ignore[arg-type]
    assert moments == sorted(moments)
    assert moments[-1].date() == made.today


def test_somebody_is_to_come_is_here_is_overdue_and_is_in_danger(made: Any, store: Store) -> None:
    with store.read() as session:
        states = {trip.status for trip in day_trips(session, made.today)}
        dangers = {alert.kind for alert in open_alerts(session)}
    assert states >= {"booked", "arrived"} or states >= {"proposed", "arrived"}
    assert dangers == {"walk-in", "senior review"}
    assert "overdue" in {row["kind"] for row in rows(made.folder / "overdue.csv")}
