"""Keys are listed and turned from the command line; old sheets stay readable, and the journal tells of it."""

from __future__ import annotations

import stat
from datetime import UTC, datetime

from followup.recall.codes.codes import create_keyring, load_keyring, new_sheet_id, qr_payload, read_scan
from followup.records.plans.sheets import issue_sheet
from followup.records.store.journal import journal_of, verify_journal


def test_a_new_key_seals_and_the_older_ones_still_open_their_sheets(clinic, store, inside):
    path, sheet = clinic / "recall-keys.json", new_sheet_id()
    printed = qr_payload(sheet, load_keyring(path), "RBE")
    done = inside("keys", "turn")
    assert (done.returncode, done.stderr) == (0, "")
    assert "Key 02 seals new sheets; 1 older key still opens its sheets. Stop followup serve" in done.stdout
    assert f"copy {path}" in done.stdout
    ring = load_keyring(path)
    assert (ring.newest, sorted(ring.keys)) == ("02", ["01", "02"])
    assert read_scan(printed, ring, "RBE").sheet_id == sheet
    assert qr_payload(sheet, ring, "RBE")[4:6] == "02"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with store.read() as session:
        (entry,) = journal_of(session, "keys")
        verify_journal(session)
    assert (entry.actor, entry.action, dict(entry.details)) == ("command line", "keys turned", {"key": "02"})


def test_each_key_is_listed_with_its_time_and_its_sheets_and_never_itself(sqlite_ward, inside, tmp_path):
    ward, path = sqlite_ward, tmp_path / "keys.json"
    create_keyring(path)
    given = {
        "FOLLOWUP_DATABASE_URL": ward.store.engine.url.render_as_string(hide_password=False),
        "FOLLOWUP_KEY_FILE": str(path),
    }
    for codes in (("K-1",), ("K-2", "K-3")):
        for code in codes:
            plan = ward.signed(code)
            with ward.store.write(ward.counsellor, datetime.now(UTC)) as unit:
                issue_sheet(unit, plan_id=plan.id, sheet_id=f"{plan.id:010d}", language="en")
        assert inside("keys", "turn", **given).returncode == 0
    listed = inside("keys", "list", **given).stdout
    first, second, third = listed.splitlines()
    assert first == "01: since before the journal tells of it, 1 sheet in force"
    assert second.startswith(f"02: since {datetime.now(UTC):%Y-%m-%d}")
    assert second.endswith(" UTC, 2 sheets in force")
    assert third.endswith(" UTC, 0 sheets in force, seals new sheets")
    for key in load_keyring(path).keys.values():
        assert key.hex() not in listed


def test_where_the_key_file_is_missing_nothing_is_turned(clinic, store, inside):
    (clinic / "recall-keys.json").unlink()
    done = inside("keys", "turn")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    with store.read() as session:
        assert journal_of(session, "keys") == ()
