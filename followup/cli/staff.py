"""``followup staff``: the people who work here, for whoever has the computer itself in hand."""

from __future__ import annotations

from datetime import UTC, datetime

import click

from followup.care.house.staff import login_name, staff_name
from followup.care.new_password import known_texts
from followup.cli.contract import CommandOutcome, visible
from followup.cli.opening import COMMAND_LINE, folder_option, opened, settings_from
from followup.cli.passwords import new_password
from followup.clinical.english import listed
from followup.errors import FollowupError
from followup.records.house.asked_roles import asked_roles
from followup.records.house.clinics import get_clinic
from followup.records.house.second_factor import take_off_second_factor
from followup.records.house.staff import all_staff, make_manager, staff_by_login, unlock
from followup.records.store.sites import all_sites
from followup.records.views import Staff


@click.group()
def staff() -> None:
    """The people who work here: list them, make a manager, let in who is locked out."""


@staff.command("list")
@folder_option
def list_staff(folder: str | None) -> CommandOutcome:
    """Print who works here, as what, and who may not log in."""
    with opened(settings_from(folder)) as store, store.read() as session:
        sites = {one.id: one.code for one in all_sites(session)}
        asked = {one.login: one.roles for one in asked_roles(session)}
        lines = [_line(one, sites, asked.get(one.login, ())) for one in all_staff(session)]
    return CommandOutcome(visible("".join(lines) or "Nobody works here.\n"))


@staff.command()
@click.argument("login")
@folder_option
@click.option("--name", default="", help="Name of somebody new, as colleagues know it.")
def manager(login: str, name: str, folder: str | None) -> CommandOutcome:
    """Let LOGIN in as manager of every site, with a new password; somebody new with --name.

    For a clinic whose managers can't get in. The password is asked for, or read from the variable
    FOLLOWUP_PASSWORD or from the file that FOLLOWUP_PASSWORD_FILE names.
    """
    with opened(settings_from(folder)) as store:
        with store.read() as session:
            known, clinic = staff_by_login(session, login), get_clinic(session)
        if known is None and not name:
            raise FollowupError(
                "staff.name", f"nobody logs in as {login_name(login)}", fix="add --name for somebody new"
            )
        called = known.name if known else staff_name(name)
        stored = new_password(known_texts(clinic, login, called))
        with store.write(COMMAND_LINE, datetime.now(UTC)) as unit:
            made = make_manager(unit, login=login, password_hash=stored, name=called)
    return CommandOutcome(visible(f"{made.name} logs in as {made.login} now, manager of every site.\n"))


@staff.command("unlock")
@click.argument("login")
@folder_option
def unlock_one(login: str, folder: str | None) -> CommandOutcome:
    """Let LOGIN try again at once after too many wrong passwords."""
    with opened(settings_from(folder)) as store, store.write(COMMAND_LINE, datetime.now(UTC)) as unit:
        found = unlock(unit, login=login)
    return CommandOutcome(visible(f"{found.login} can try again.\n"))


@staff.command("second-factor")
@click.argument("login")
@folder_option
@click.option("--off", is_flag=True, required=True, help="Take it off: the password alone opens the log-in.")
def second_factor(login: str, off: bool, folder: str | None) -> CommandOutcome:
    """Take the second factor of LOGIN off, as where the telephone that shows the codes is lost."""
    with opened(settings_from(folder)) as store, store.write(COMMAND_LINE, datetime.now(UTC)) as unit:
        found = take_off_second_factor(unit, login=login)
    return CommandOutcome(visible(f"{found.login} logs in with the password alone.\n"))


def _line(one: Staff, sites: dict[int, str], asked: tuple[str, ...]) -> str:
    notes = [f"at {sites.get(one.site or 0, 'every site')}"]
    if asked:
        notes.append(f"{listed(asked)} waits for a second person")
    if not one.password_own:
        notes.append("the password is not an own one yet")
    if not one.active:
        notes.append("may not log in")
    return f"{one.login}: {one.name}; {listed(sorted(one.roles)) or 'no role yet'}; {'; '.join(notes)}\n"
