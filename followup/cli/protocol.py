"""``followup protocol check | show | compare | sign``: a clinic's rules, looked after."""

from __future__ import annotations

import textwrap
from datetime import UTC, datetime
from pathlib import Path

import click

from followup.care.password_again import must_be_own
from followup.care.passwords import Passwords
from followup.cli.contract import BAD_INPUT, CommandOutcome, visible
from followup.cli.files import write_out
from followup.cli.opening import folder_option, opened, settings_from
from followup.cli.passwords import typed_password
from followup.clinical.english import counted
from followup.clinical.protocol.checks_facts import unused_facts
from followup.clinical.protocol.lint import lint_protocol
from followup.clinical.protocol.load import load_protocol
from followup.clinical.protocol.protocol import Protocol
from followup.clinical.record import parse_record
from followup.clinical.words.protocol import NOT_APPROVED, protocol_words
from followup.clinical.words.protocols_compared import compare_protocols, effect_on
from followup.demo.cast import CASES, case_data
from followup.errors import FollowupError
from followup.records.house.staff import staff_by_login
from followup.records.house.wrong_logins import forget_wrong_logins, note_wrong_login, seconds_to_wait
from followup.records.plans.protocols import sign_protocol
from followup.records.store.store import Store
from followup.records.views import Actor
from followup.sheets.paper.protocol_print import fingerprint, must_print, protocol_pdf, unprintable

WIDTH = 100
SAMPLE_NAME = "sample"
THIS_COMPUTER = "this computer"


@click.group()
def protocol() -> None:
    """Check, print, compare or sign a protocol. DIR is its folder; "sample" or nothing is the sample."""


@protocol.command()
@click.argument("folder", metavar="[DIR]", required=False)
def check(folder: str | None) -> CommandOutcome:
    """Say every problem of a protocol, by file and line."""
    path = _path(folder)
    problems = lint_protocol(path) or tuple(unprintable(path))
    if problems:
        told = "".join(f"{visible(problem.line)}\n" for problem in problems)
        return CommandOutcome(
            told, BAD_INPUT, f"{counted(len(problems), 'problem', 'problems')} in the protocol"
        )
    loaded = load_protocol(path)
    unused = unused_facts(loaded)
    return CommandOutcome(
        f"{loaded.label}: {len(loaded.rules)} rules, {len(loaded.formulary)} medicines, no problem. "
        f"Fingerprint {fingerprint(loaded.hash)}\n"
        + (f"No rule looks at these facts: {', '.join(unused)}\n" if unused else "")
    )


@protocol.command()
@click.argument("folder", metavar="[DIR]", required=False)
@click.option("--out", metavar="FILE.pdf", help="As PDF to read and sign on paper; else as text.")
def show(folder: str | None, out: str | None) -> CommandOutcome:
    """Print every rule with its source, for the clinician who is to sign it."""
    loaded = load_protocol(_path(folder))
    if out:
        write_out(Path(out), protocol_pdf(loaded))
        return CommandOutcome(f"{out}\n")
    return CommandOutcome(visible(protocol_text(loaded)) + "\n")


def protocol_text(loaded: Protocol) -> str:
    lines = [loaded.label, loaded.about.text, NOT_APPROVED, f"Fingerprint {fingerprint(loaded.hash)}"]
    for section in protocol_words(loaded):
        lines += ["", section.title]
        for entry in section.entries:
            lines.append(f"  {entry.name}")
            lines += [_folded(line) for line in (*entry.says, entry.origin) if line]
    return "\n".join(lines)


@protocol.command()
@click.argument("old", metavar="A")
@click.argument("new", metavar="B")
def compare(old: str, new: str) -> CommandOutcome:
    """Say how protocol B differs from A, and what that does to twelve told operations."""
    before, after = load_protocol(_path(old)), load_protocol(_path(new))
    lines = list(compare_protocols(before, after)) or ["The protocols say the same."]
    records = {name: parse_record(case_data(name), name) for name in CASES}
    effects = [effect for effect in effect_on(records, before, after) if effect.differences]
    untouched = len(records) - len(effects)
    lines += ["", f"Of twelve told operations {counted(untouched, 'keeps its plan', 'keep their plan')}."]
    for effect in effects:
        lines += ["", f"{effect.name}: {records[effect.name].patient.name}"]
        lines += [_folded(difference) for difference in effect.differences]
    return CommandOutcome(visible("\n".join(lines)) + "\n")


@protocol.command()
@folder_option
@click.option(
    "--protocol", "own", metavar="DIR", help="The clinic's own protocol; else that of the settings."
)
@click.option("--login", required=True, metavar="NAME", help="Log-in name of the surgeon who signs.")
@click.option("--read", required=True, metavar="FINGERPRINT", help="Fingerprint on the print that was read.")
def sign(folder: str | None, own: str | None, login: str, read: str) -> CommandOutcome:
    """Approve a protocol for patients of the clinic: who, registration, when, over exactly this content.

    The password is asked for, or read from FOLLOWUP_PASSWORD or the file that FOLLOWUP_PASSWORD_FILE names.
    """
    settings = settings_from(folder, protocol=own)
    loaded = load_protocol(settings.protocol)
    wanted = "".join(read.split()).lower()
    if len(wanted) < 12 or not loaded.hash.startswith(wanted):
        raise FollowupError(
            "protocol.changed",
            f"the protocol's fingerprint is {fingerprint(loaded.hash)}, not {read[:60]}",
            where="--read",
            fix="print it with followup protocol show, read it, and give the fingerprint on the print",
        )
    must_print(loaded)
    password = typed_password()
    with opened(settings) as store:
        now = datetime.now(UTC)
        actor = _surgeon(store, login, password, now)
        with store.write(actor, now) as unit:
            signed = sign_protocol(unit, hash=loaded.hash, name=loaded.name, version=loaded.version)
    return CommandOutcome(
        f"{loaded.label} is approved for patients by {signed.signer}, {signed.registration}. "
        "Plans can now be signed.\n"
    )


def _surgeon(store: Store, login: str, password: str, now: datetime) -> Actor:
    """Who signs, after the password. Wrong ones count as log-ins from this computer."""
    here = {"login": login, "origin": THIS_COMPUTER}
    with store.read() as session:
        waits = seconds_to_wait(session, **here, now=now) > 0
        person = staff_by_login(session, login)
    if not waits:
        right = Passwords().matches(person.password_hash if person else None, password)
        with store.upkeep(now) as unit:
            if person is not None and person.active and right:
                forget_wrong_logins(unit, **here)
                must_be_own(person)
                return person.actor
            note_wrong_login(unit, **here)
    raise FollowupError(
        "password.wrong",
        "this log-in name and password don't go together, or it was wrong too often; nothing was stored",
        where="--login",
        fix="try again, or wait a quarter of an hour",
    )


def _path(folder: str | None) -> Path | None:
    return None if folder in (None, SAMPLE_NAME) else Path(str(folder))


def _folded(line: str) -> str:
    return textwrap.fill(
        line,
        WIDTH,
        initial_indent="    ",
        subsequent_indent="      ",
        break_long_words=False,
        break_on_hyphens=False,
    )
