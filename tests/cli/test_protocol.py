"""A clinic's protocol at the command line: checked, printed, compared, signed."""

from __future__ import annotations

import shutil

import pypdfium2
import pytest

from followup.clinical.protocol.load import SAMPLE, load_protocol
from followup.records.plans.protocols import protocol_signature
from followup.records.store.store import Store

SECRET = {"FOLLOWUP_PASSWORD": "a long enough password"}
PRINT = load_protocol().hash[:16]


@pytest.fixture
def own(tmp_path):
    """The sample protocol as a clinic's own, with changes: file, old text, new text."""

    def made(*changes, name="own"):
        folder = tmp_path / name
        shutil.copytree(SAMPLE, folder)
        for file, old, new in changes:
            text = (folder / file).read_text("utf-8")
            assert old in text
            (folder / file).write_text(text.replace(old, new, 1), "utf-8")
        return folder

    return made


def signature(store: Store, hash_: str):
    with store.read() as session:
        return protocol_signature(session, hash_)


def test_the_sample_protocol_has_no_problem(inside):
    told = inside("protocol", "check")
    assert (told.returncode, told.stderr) == (0, "")
    assert "no problem. Fingerprint" in told.stdout


def test_every_problem_is_printed_with_file_and_line_and_the_exit_code_is_2(inside, own):
    folder = own(
        ("protocol.toml", 'nsaid = "bromfenac-0-09"', 'nsaid = "none-such"'),
        ("rules-1-courses.toml", 'taper = "UW"', 'taper = "UX"'),
    )
    told = inside("protocol", "check", str(folder))
    assert told.returncode == 2
    lines = told.stdout.splitlines()
    assert any(line.startswith("protocol.toml line ") for line in lines)
    assert any(line.startswith("rules-1-courses.toml line ") for line in lines)
    assert told.stderr == f"followup: {len(lines)} problems in the protocol\n"


@pytest.mark.parametrize(
    ("file", "old", "new", "character"),
    [
        ("formulary.toml", 'name = "Dexamethasone"', 'name = "Dexamethasone \u16a0"', "U+16A0"),
        ("formulary.toml", 'name = "Levofloxacin"', 'name = "Levo\U00010330"', "U+10330"),
        ("protocol.toml", 'name = "Sample protocol"', 'name = "Protocol \ufffd"', "U+FFFD"),
        ("protocol.toml", 'version = "1"', 'version = "1\u13a0"', "U+13A0"),
    ],
)
def test_a_name_that_no_font_prints_is_a_problem_by_file_and_line_and_keeps_it_from_being_approved(
    inside, own, clinic, store, file, old, new, character
):
    folder = own((file, old, new))
    told = inside("protocol", "check", str(folder))
    assert told.returncode == 2
    (line,) = told.stdout.splitlines()
    assert line.startswith(f"{file} line ")
    assert f"no shipped font can print {character}" in line
    loaded = load_protocol(folder)
    given = ("--folder", clinic, "--login", "ruth", "--read", loaded.hash[:16], "--protocol", folder)
    refused = inside("protocol", "sign", *map(str, given), **SECRET)
    assert refused.returncode == 2
    assert f"no shipped font can print {character}" in refused.stderr
    assert signature(store, loaded.hash) is None


def test_show_prints_every_rule_with_its_source_as_text_and_as_pdf(inside, tmp_path):
    told = inside("protocol", "show")
    assert told.returncode == 0
    assert "Not approved for patients until a licensed clinician" in told.stdout
    protocol = load_protocol()
    for rule in protocol.rules:
        assert f"  {rule.id}\n" in told.stdout
    for medicine in protocol.formulary.values():
        assert f"({medicine.id})" in told.stdout
    out = tmp_path / "protocol.pdf"
    assert inside("protocol", "show", "--out", str(out)).returncode == 0
    pdf = pypdfium2.PdfDocument(out)
    first = pdf[0].get_textpage().get_text_range()
    assert "Not approved for patients" in first
    assert "name and signature" in first
    last = pdf[len(pdf) - 1].get_textpage().get_text_range()
    assert f"page {len(pdf)} of {len(pdf)}" in last
    assert " ".join(PRINT[i : i + 4] for i in range(0, 16, 4)) in last


def test_compare_says_the_difference_and_what_it_does_to_the_twelve(inside, own):
    other = own(("protocol.toml", '["2-hourly", 4], [6, 7]', '["2-hourly", 4], [5, 7]'))
    told = inside("protocol", "compare", "sample", str(other))
    assert told.returncode == 0
    assert told.stdout.startswith("Taper U, week 2: 6 a day becomes 5 a day.\n")
    assert "Of twelve told operations 12 keep their plan." in told.stdout
    longer = own(("protocol.toml", "[2, 7], [1, 7]]", "[2, 7], [1, 14]]"), name="longer")
    told = inside("protocol", "compare", "sample", str(longer))
    assert "01-wanjiru: Wanjiru Njoroge" in told.stdout
    assert "right eye: the last day is 6 April 2026" in " ".join(told.stdout.split())
    same = inside("protocol", "compare", "sample", "sample")
    assert same.stdout.startswith("The protocols say the same.\n")


def test_signing_writes_who_registration_and_content_once(inside, clinic, store):
    told = inside("protocol", "sign", "--folder", str(clinic), "--login", "ruth", "--read", PRINT, **SECRET)
    assert (told.returncode, told.stderr) == (0, "")
    assert "approved for patients by Ruth Amberley, R-1001" in told.stdout
    row = signature(store, load_protocol().hash)
    assert (row.signer, row.registration) == ("Ruth Amberley", "R-1001")
    again = inside("protocol", "sign", "--folder", str(clinic), "--login", "ruth", "--read", PRINT, **SECRET)
    assert again.returncode == 2
    assert "already signed by Ruth Amberley" in again.stderr


@pytest.mark.parametrize(
    ("changes", "env", "said"),
    [
        ({}, {"FOLLOWUP_PASSWORD": "not the password"}, "don't go together"),
        ({"--login": "nobody"}, SECRET, "don't go together"),
        ({"--read": "0000 0000 0000 0000"}, SECRET, "the protocol's fingerprint is"),
        ({"--read": PRINT[:4]}, SECRET, "the protocol's fingerprint is"),
        ({}, {}, "no password given"),
    ],
)
def test_nothing_is_signed_with_a_wrong_password_name_or_fingerprint(
    inside, clinic, store, changes, env, said
):
    given = {"--folder": str(clinic), "--login": "ruth", "--read": PRINT} | changes
    told = inside("protocol", "sign", *(part for pair in given.items() for part in pair), **env)
    assert told.returncode == 2
    assert said in told.stderr
    assert told.stderr.count("\n") == 1
    assert signature(store, load_protocol().hash) is None


SIGN = ("protocol", "sign", "--login", "ruth", "--read")


@pytest.mark.parametrize(
    ("state", "said"),
    [
        ("active = 0", "don't go together"),
        ("roles = '[\"manager\"]'", "role"),
        ("registration = ''", "registration"),
        ("password_own = 0", "somebody else set this password"),
    ],
)
def test_nobody_signs_who_was_switched_off_or_is_no_surgeon_with_a_registration_and_an_own_password(
    inside, clinic, store, state, said
):
    with store.engine.begin() as connection:
        connection.exec_driver_sql(f"UPDATE staff SET {state}")
    told = inside(*SIGN, PRINT, **SECRET)
    assert (told.returncode, told.stdout) == (2, "")
    assert said in told.stderr
    assert signature(store, load_protocol().hash) is None


def test_a_fingerprint_counts_from_its_twelfth_sign_on_with_or_without_gaps_and_capitals(
    inside, clinic, store
):
    whole = load_protocol().hash
    other = "0" if whole[11] != "0" else "1"
    for read in (whole[:11], f"{whole[:11]}{other}", f"{whole}0"):
        assert inside(*SIGN, read, **SECRET).returncode == 2
        assert signature(store, whole) is None
    told = inside(*SIGN, f"{whole[:4]} {whole[4:8]} {whole[8:12]}".upper(), **SECRET)
    assert (told.returncode, told.stderr) == (0, "")
    assert signature(store, whole) is not None


def test_too_many_wrong_passwords_lock_the_signature_too(inside, clinic, store):
    given = ("protocol", "sign", "--folder", str(clinic), "--login", "ruth", "--read", PRINT)
    for _ in range(5):
        inside(*given, FOLLOWUP_PASSWORD="not the password")
    assert "too often" in inside(*given, **SECRET).stderr
    assert signature(store, load_protocol().hash) is None


def test_a_changed_protocol_is_not_signed_by_the_old_signature(inside, clinic, store, own):
    inside("protocol", "sign", "--folder", str(clinic), "--login", "ruth", "--read", PRINT, **SECRET)
    changed = load_protocol(own(("protocol.toml", "price = 100", "price = 101")))
    assert signature(store, changed.hash) is None
