"""What stores of older versions hold: a row for every table, as it lay in the file, and what each step adds.

Written from what each version stored, and never read from the schema of today.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Final

Row = dict[str, object]

_AT, _LATER = "2027-03-01 08:30:00.000000", "2027-03-02 09:15:30.250000"

# A plan with one bottle, and what lists say of it since they have it stored.
_PLAN: Final = json.dumps(
    {
        **{"patient": "K-1", "as_of": "2027-03-01", "status": "active", "protocol": "own"},
        **{"protocol_hash": "ab" * 32, "approved": True, "engine": "1"},
        "supply": [
            {
                **{"course": "left:steroid", "number": 1, "opened": "2027-03-02", "discard": "2027-03-30"},
                **{"drops": 80, "handed_over": "2027-03-01"},
            }
        ],
    }
)
_GIST: Final = (
    '{"needs":[],"watched":[],"courses":[],"supply":[{"course":"left:steroid","number":1,"opened":"2027-03-02",'
    '"discard":"2027-03-30","drops":80,"handed_over":"2027-03-01"}],"before_leaving":[],"to_come":[],'
    '"tiers":[],"questions":0,"signable":true,"last_drop":null}'
)


def _one_out(words: Iterable[str]) -> set[str]:
    return {word[:i] + word[i + 1 :] for word in words for i in range(len(word))}


# Every end of the patient's name, and its first seven letters with none, one and two left out.
_PARTS: Final = (
    *("wanjiru", "anjiru", "njiru", "jiru", "iru", "ru", "u", "-wanjiru"),
    *(f"-{part}" for part in _one_out({"wanjiru"}) | _one_out(_one_out({"wanjiru"}))),
)

# The step that made the table, the table, its row.
ROWS: Final[tuple[tuple[str, str, Row], ...]] = (
    (
        "0001",
        "clinic",
        {
            **{"id": 1, "name": "Riverbend Eye Clinic", "code": "RBE", "phone_day": "+44 20 7946 0100"},
            **{"phone_night": "+44 20 7946 0199", "nearest_eye_clinic": "Mill Road", "zone": "Asia/Kolkata"},
            **{"sheet_languages": '["en", "bn"]', "staff_language": "en", "is_sample": 1},
            "calendar": '{"closed": ["sunday"]}',
        },
    ),
    (
        "0001",
        "staff",
        {
            **{"id": 4, "login": "sen", "name": "Dr Sen", "registration": "R-1001", "roles": '["surgeon"]'},
            **{"password_hash": "-", "active": 1, "failed_logins": 2, "locked_until": _LATER},
            "created_at": _AT,
        },
    ),
    (
        "0001",
        "login_session",
        {
            **{"id": "5a" * 32, "staff_id": 4, "created_at": _AT, "last_seen": _LATER, "expires_at": _LATER},
            **{"revoked_at": None, "reauthenticated_at": _LATER},
        },
    ),
    (
        "0001",
        "protocol_signature",
        {
            **{"hash": "ab" * 32, "name": "own", "version": "3", "signer": "Dr Sen"},
            **{"registration": "R-1001", "signed_by": "sen", "signed_at": _AT},
        },
    ),
    (
        "0001",
        "patient",
        {
            **{"id": 7, "code": "K-1", "code_key": "k1", "name": "Wanjiru Ndegwa", "search_name": "wanjiru"},
            **{"birth_date": None, "birth_year": 1955, "sex": "female", "language": "en"},
            **{"telephones": '[{"number": "+44 20 7946 0111"}]', "search_phones": "442079460111"},
            **{"record_number": 2, "entered_at": _AT},
        },
    ),
    (
        "0001",
        "record_version",
        {
            **{"id": 11, "patient_id": 7, "number": 2, "body": '{"patient": {}}', "entered_by": "mira"},
            "entered_at": _AT,
        },
    ),
    (
        "0001",
        "operation",
        {"id": 12, "patient_id": 7, "eye": "left", "day": "2027-03-01", "surgeon": "Dr Sen"},
    ),
    (
        "0001",
        "operation_list",
        {
            **{"id": 13, "day": "2027-03-01", "patient_code": "K-1", "code_key": "k1", "name": "Wanjiru"},
            **{"eye": "left", "position": 5},
        },
    ),
    (
        "0001",
        "care_plan",
        {
            **{"id": 21, "patient_id": 7, "number": 3, "status": "active", "record_number": 2},
            **{"as_of": "2027-03-01", "body": _PLAN, "edits": "[]", "reason": "diabetes"},
            **{"protocol_hash": "ab" * 32, "engine": "1", "drafted_by": "mira", "drafted_at": _AT},
            **{"signed_by": "sen", "signed_at": _LATER, "ended_at": None, "ended_reason": None},
            "replaced_by": None,
        },
    ),
    (
        "0001",
        "trip",
        {
            **{"id": 31, "patient_id": 7, "care_plan_id": 21, "number": 2, "day": "2027-03-08"},
            **{"window_start": "2027-03-06", "window_end": "2027-03-10", "status": "fulfilled"},
            **{"serves": '["left:week"]', "services": '["review"]', "overbooked": '["review"]', "tier": "A"},
            **{"cannot_move": 1, "holds_places": 1, "arrived_at": _AT, "arrival_nonce": "n-31"},
            **{"seen_on": "2027-03-09", "fulfilled_at": _LATER, "served": '["left:week"]'},
            "ended_reason": "planned again",
        },
    ),
    (
        "0001",
        "trip_transition",
        {"id": 41, "trip_id": 31, "kind": "late", "became_at": _AT, "noticed_at": _LATER},
    ),
    ("0001", "place", {"service": "review", "day": "2027-03-08", "capacity": 20, "taken": 3}),
    ("0001", "place", {"service": "macula", "day": "2027-03-09", "capacity": None, "taken": 1}),
    (
        "0001",
        "sheet",
        {
            **{"id": "0123456789", "patient_id": 7, "care_plan_id": 21, "issue": 2, "language": "bn"},
            **{"printed_at": _AT, "printed_by": "mira", "reason": "lost", "handed_over_at": _LATER},
            **{"handed_over_by": "omar", "handed_to": "her son", "how": "paper", "replaced_at": None},
            "replaced_by_plan": 21,
        },
    ),
    (
        "0001",
        "journal",
        {
            **{"number": 1, "at": _AT, "actor": "sen", "action": "plan signed", "subject": "patient:K-1"},
            **{"details": '{"plan": 21}', "previous": "0" * 64, "hash": "cd" * 32},
        },
    ),
    ("0001", "heartbeat", {"name": "backup", "at": _AT, "ok": 1, "rows": 12, "message": "done"}),
    ("0001", "lease", {"name": "daily", "owner": "desk-1", "expires_at": _LATER}),
    (
        "0001",
        "daily_run",
        {
            **{"id": 51, "job": "messages", "day": "2027-03-01", "claimed_at": _AT, "finished_at": _LATER},
            "outcome": "3 written",
        },
    ),
    (
        "0002",
        "site",
        {
            **{"id": 2, "code": "HILL", "name": "Hill room", "phone_day": "+44 20 7946 0120"},
            **{"phone_night": "+44 20 7946 0121", "calendar": '{"holidays": []}'},
        },
    ),
    (
        "0002",
        "contact_attempt",
        {
            **{"id": 61, "patient_id": 7, "at": _AT, "day": "2027-03-11", "by": "omar", "rung": 1},
            **{"way": "second contact", "outcome": "will come", "promised": "2027-03-12"},
            **{"note": "her son answered", "nonce": "a-61"},
        },
    ),
    (
        "0002",
        "standing",
        {"patient_id": 7, "standing": "moved away", "since": _AT, "by": "mira", "reason": "to her son"},
    ),
    (
        "0002",
        "message_choice",
        {
            **{"patient_id": 7, "consent": 1, "reader": "carer", "channel": "mail"},
            **{"address": "x@example.org", "changed_by": "mira", "changed_at": _AT, "stopped_at": _LATER},
        },
    ),
    (
        "0002",
        "message",
        {
            **{"id": 71, "key": "k-71", "patient_id": 7, "kind": "missed", "day": "2027-03-11"},
            **{"last_useful": "2027-03-14", "language": "bn", "reader": "carer", "channel": "mail"},
            **{"address": "x@example.org", "text": "Please come.", "segments": 2, "state": "failed"},
            **{"created_at": _AT, "next_try": _LATER, "tries": 3, "claimed_by": "desk-1"},
            **{"claimed_until": _LATER, "sent_at": None, "last_error": "no answer"},
        },
    ),
    ("0003", "sheet_choice", {"sheet_id": "0123456789", "options": '{"large": true}'}),
    (
        "0003",
        "teach_back",
        {"sheet_id": "0123456789", "shown": "[0, 2]", "asked": 3, "by": "mira", "at": _AT},
    ),
    ("0003", "stock_count", {"site_id": 2, "medicine": "timolol-0-5", "bottles": 9, "by": "lina", "at": _AT}),
    (
        "0006",
        "alert",
        {
            **{"id": 81, "patient_id": 7, "kind": "walk-in", "eye": "left", "day": "2027-03-09"},
            **{"trip_id": 31, "signs": '["pain"]', "words": "since the morning", "opened_at": _AT},
            **{"opened_by": "omar", "closed_at": _LATER, "closed_by": "sen", "closed_word": "seen"},
        },
    ),
    (
        "0006",
        "leaving_check",
        {
            **{"id": 91, "patient_id": 7, "key": "left:pressure", "day": "2027-03-01", "mmhg": 18.5},
            **{"why": "", "by": "mira", "at": _AT},
        },
    ),
    (
        "0016",
        "wrong_login",
        {"who": "5a" * 32, "origin": "192.0.2.1", "wrong": 3, "last_at": _AT},
    ),
    (
        "0017",
        "telling",
        {
            **{"id": 99, "patient_id": 7, "record_number": 2, "eye": "left", "day": "2027-03-01"},
            **{"language": "en", "text": "Phaco, capsule torn.", "asked": '["operation.lens"]'},
            **{"told_by": "mira", "told_at": _AT},
        },
    ),
    (
        "0011",
        "handing",
        {
            **{"id": 95, "patient_id": 7, "plan_id": 21, "bottles": "[]", "day": "2027-03-02"},
            **{"by": "lina", "at": _AT, "taken_back_at": None},
        },
    ),
    (
        "0013",
        "asked_role",
        {
            **{"id": 97, "staff_id": 4, "roles": '["counsellor"]', "asked_by": "ines", "asked_at": _AT},
            **{"state": "granted", "decided_by": "omar", "decided_at": _LATER},
        },
    ),
    ("0014", "opening", {"login": "mira", "patient_id": 7, "day": "2027-03-02"}),
    (
        "0014",
        "erased",
        {
            **{"code_key": "k1", "code": "K-1", "site_id": 2, "asked_at": _AT},
            **{"asked_by": "omar", "kept_until": "2037-03-09", "gone_at": None, "sheets": "[]"},
        },
    ),
    ("0018", "hand_out_day", {"plan_id": 21, "day": "2027-03-01"}),
    *(
        ("0018", "patient_key", {"key": key, "patient_id": 7})
        for key in ("wanjiru", "code k1", "phone 111064970244")
    ),
    *(("0018", "name_part", {"part": part, "word": "wanjiru"}) for part in _PARTS),
    (
        "0019",
        "list_mapping",
        {"site_id": 2, "name": "theatre", "body": '{"columns":{}}', "by": "mira", "at": _AT},
    ),
    (
        "0020",
        "list_import",
        {
            **{"id": "7f" * 16, "site_id": 2, "by": "mira", "at": _AT, "name": "april.csv"},
            **{"content": b"on,code\n", "mapping": "theatre", "body": "{}", "state": "looked", "way": ""},
            **{"done": 0, "total": 0, "touched_at": _LATER, "result": "{}", "refused": b""},
        },
    ),
)
# Steps whose own tables are made of what lies in the older ones.
FILLS: Final = frozenset({"0018"})

# What a step says of the rows that are there already: everything was at the first and only site, nobody is
# bound to one, no cap has the published colour, nobody had left, no visit was given by somebody's word,
# everybody reads the clinic's language, no call says which number was tried, everybody chose the own
# password, nobody said how long a record is kept.
ADDED: Final[dict[str, dict[str, Row]]] = {
    "0002": {
        "patient": {"site_id": 1},
        "operation_list": {"site_id": 1},
        "staff": {"site_id": None},
        "place": {"site_id": 1},
    },
    "0004": {"contact_attempt": {"taken_back_at": None}},
    "0005": {"clinic": {"cap_colours": 0}},
    "0006": {"trip": {"left_at": None, "ended_at": None}},
    "0007": {"trip": {"given": 0, "place": None, "opens": None, "closes": None}},
    "0008": {"clinic": {"address": ""}, "site": {"address": ""}, "trip": {"hour": None}},
    "0009": {"clinic": {"days_to_tick": 0}},
    "0010": {"staff": {"language": ""}},
    "0012": {"contact_attempt": {"number": ""}},
    "0013": {
        "staff": {"password_own": 1, "reset_by": "", "reset_at": None},
        "login_session": {"browser": ""},
    },
    "0014": {"clinic": {"keep_years": None}},
    "0016": {
        "staff": {"second_key": "", "second_since": None, "second_step": 0},
        "login_session": {"origin": "", "wrong_passwords": 0},
    },
    "0018": {"care_plan": {"gist": _GIST}},
}
# What a step leaves out: nobody is kept out any longer by a count over all origins; a number is a key.
LEFT_OUT: Final[dict[str, dict[str, frozenset[str]]]] = {
    "0016": {"staff": frozenset({"failed_logins", "locked_until"})},
    "0018": {"patient": frozenset({"search_phones"})},
}
# The first site, which the step that brings sites makes itself.
FIRST_SITE: Final[Row] = {
    **{"id": 1, "code": "MAIN", "name": "", "phone_day": "", "phone_night": "", "calendar": ""}
}
STEPS: Final = tuple(f"{number:04}" for number in range(1, 21))


def made_by(step: str) -> list[tuple[str, Row]]:
    """The rows of the tables which this step made, and did not fill itself."""
    return [(table, row) for made, table, row in ROWS if made == step and step not in FILLS]


def stored_after(step: str, *, left_by: str) -> dict[str, list[Row]]:
    """By table, each row of a store that the version of ``left_by`` left, as it must stand after ``step``."""
    passed, before = STEPS[: STEPS.index(step) + 1], STEPS[: STEPS.index(left_by) + 1]
    found: dict[str, list[Row]] = {"site": [FIRST_SITE]} if "0002" in passed else {}
    for made, table, row in ROWS:
        there = made in before or (made in passed and made in FILLS)
        found.setdefault(table, []).extend([row] if there else [])
    for one in passed:
        for table, columns in ADDED.get(one, {}).items():
            found[table] = [{**row, **columns} for row in found[table]]
        for table, gone in LEFT_OUT.get(one, {}).items():
            found[table] = [{name: row[name] for name in row if name not in gone} for row in found[table]]
    return {table: rows for table, rows in found.items() if rows}
