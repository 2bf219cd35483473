"""What the clinic does, done by a hand alone: no page, no program, no request."""

from __future__ import annotations

from followup.care.reach.following import Consent, agree, stop
from followup.care.records.operations import Listed, OperationList, line_keys, set_list
from followup.care.records.recording import Correction, NewRecord, correct, enter
from followup.care.sheets.issuing import Handed, Printing, Taught, hand_over, print_once, teach
from followup.care.trips.trips import Arrival, Booked, Moved, arrive, move, promise
from followup.records.people.messages import message_choice
from followup.records.people.oplist import operation_list
from followup.records.plans.desk_notes import teach_back_of
from followup.records.plans.sheets import find_sheet

NONCE = "a-nonce-of-this-deed"


def test_a_visit_is_promised_moved_and_come_to_once(ward, by, refused):
    first, week, _ = ward.trips(ward.signed())
    hand = by(ward.reception)
    assert promise(hand, week.id, Booked(hour="09:30", seen=week.day)).status == "booked"
    moved = move(hand, week.id, Moved(day=ward.day(8), seen=week.day))
    assert (moved.day, moved.hour) == (ward.day(8), None)
    assert refused(move, hand, week.id, Moved(day=ward.day(9), seen=week.day)) == "trip.changed"
    tomorrow = by(ward.reception, 1)
    here = [arrive(tomorrow, first.id, Arrival(nonce=NONCE)).arrived_at for _ in range(2)]
    assert here == [tomorrow.now] * 2


def test_messages_go_only_a_way_that_is_set_up_and_end_when_the_patient_says_so(ward, by, refused):
    patient, hand = ward.enter(), by(ward.reception)
    mail = Consent(consent=True, channel="mail", address="amina@example.org")
    assert refused(agree, hand, "K-1", mail) == "messages.way"
    assert agree(hand, "K-1", Consent(consent=True)).wants_messages
    stop(hand, "K-1")
    with ward.store.read() as session:
        assert not message_choice(session, patient).wants_messages


def test_a_list_takes_nothing_out_that_nobody_agreed_to(ward, by):
    def listed(*codes):
        return OperationList(on=ward.day0, lines=[Listed(code=c, name="Wanjiru", eye="left") for c in codes])

    def stored():
        with ward.store.read() as session:
            return [line.patient_code for line in operation_list(session, ward.day0)]

    hand = by(ward.counsellor)
    assert set_list(hand, listed("K-1", "K-2"), may_go="") == []
    out = set_list(hand, listed("K-2"), may_go="")
    assert ([line.patient_code for line in out], stored()) == (["K-1"], ["K-1", "K-2"])
    assert set_list(hand, listed("K-2"), may_go=line_keys(out)) == []
    assert (stored(), set_list(hand, listed()), stored()) == (["K-2"], [], [])


def test_a_record_is_entered_once_and_corrected_from_its_newest_version_alone(ward, by, refused):
    hand, record = by(ward.counsellor), ward.record()
    plan = enter(hand, NewRecord(record=record))
    assert enter(hand, NewRecord(record=record)) == plan
    changed = ward.record(language="bn")
    assert refused(correct, hand, "K-1", Correction(seen=0, record=changed)) == "record.changed"
    assert correct(hand, "K-1", Correction(seen=1, record=changed)) != plan
    assert refused(correct, hand, "K-2", Correction(seen=1, record=changed)) == "patient.unknown"


def test_a_sheet_is_printed_taught_and_handed_over_once(ward, by, refused):
    plan, hand = ward.signed(), by(ward.counsellor)
    sheet, again = (print_once(hand, plan.id, Printing(printed=0)).id for _ in range(2))
    assert again == sheet
    teach(hand, sheet, Taught(shown=[0, 99]))
    for _ in range(2):
        hand_over(hand, sheet, Handed(to="the daughter"))
    assert refused(hand_over, hand, sheet, Handed(to="the son")) == "sheet.handed_over"
    with ward.store.read() as session:
        assert find_sheet(session, sheet).sheet.handed_to == "the daughter"
        assert teach_back_of(session, sheet).shown == (0,)
