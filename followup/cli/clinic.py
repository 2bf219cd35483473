"""``followup init``, ``serve`` and ``sweep``: a real clinic's database, pages and lists."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from followup.care.passwords import Passwords
from followup.cli.contract import FAULT, CommandOutcome
from followup.cli.files import read_object
from followup.cli.opening import folder_option, opened, reachable, settings_from, sqlite_file
from followup.cli.passwords import someone_answers, typed_password
from followup.cli.serving import desk_for, listen, serve_pages
from followup.cli.workplace import workplace
from followup.clinical.english import counted, listed
from followup.clinical.protocol.load import load_protocol
from followup.desks.door.permissions import ROLES
from followup.errors import FollowupError
from followup.language.entered import must_print_text
from followup.recall.codes.codes import create_keyring
from followup.recall.jobs.scheduler import owner_name, utc_now, work
from followup.recall.jobs.sweep import sweep as run_sweep
from followup.records.house.clinics import get_clinic, is_set_up, put_clinic
from followup.records.house.staff import add_staff
from followup.records.store.migrations import schema_state, upgrade
from followup.records.store.store import Store
from followup.records.views import SYSTEM, Clinic
from followup.settings import Settings
from followup.timing.calendar import parse_calendar

Given = dict[str, Any]  # the options as they came, None where nothing was given


@dataclass(frozen=True)
class First:
    """The first member of staff, who can let in the others."""

    login: str
    name: str
    roles: tuple[str, ...]
    registration: str
    password_hash: str


@click.command()
@folder_option
@click.option("--name", help="Name of the clinic as patients know it.")
@click.option("--code", help="Short code in capital letters that stands in the return codes.")
@click.option("--phone-day", help="Telephone number by day.")
@click.option("--phone-night", help="Telephone number by night.")
@click.option("--zone", help="IANA time zone, such as Asia/Dhaka.")
@click.option("--address", help="Where the clinic is, as it stands on sheets.")
@click.option("--nearest", help="Nearest eye clinic, as it stands on sheets.")
@click.option("--language", multiple=True, help="Language of the sheets, such as bn; may be repeated.")
@click.option("--staff-language", help="Language of the pages; else English.")
@click.option("--calendar", metavar="FILE", help="Open days, services and places; else always open.")
@click.option(
    "--cap-colours/--no-cap-colours",
    default=None,
    help="Whether bottle caps here have the published colours, so that sheets draw them; else not.",
)
@click.option(
    "--days-to-tick/--no-days-to-tick",
    default=None,
    help="Whether every sheet has days to tick, unless chosen otherwise; else not.",
)
@click.option("--login", help="Log-in name of the first member of staff.")
@click.option("--staff-name", help="That person's name.")
@click.option("--role", multiple=True, type=click.Choice(ROLES), help="May be repeated; else manager.")
@click.option("--registration", default="", help="That person's registration as a clinician.")
@click.option("--again", is_flag=True, help="Change the data of a clinic that is set up; its staff stay.")
def init(folder: str | None, again: bool, **given: Any) -> CommandOutcome:
    """Set up a clinic: its database, its keys and the first member of staff.

    What is not given is asked for. The password is asked for too, or read from the variable
    FOLLOWUP_PASSWORD or from the file that FOLLOWUP_PASSWORD_FILE names.
    """
    settings = settings_from(folder)
    now = datetime.now(UTC)
    if again:
        with opened(settings) as store, store.write(SYSTEM, now) as unit:
            clinic = put_clinic(unit, _changed(get_clinic(unit.session), given))
        return CommandOutcome(f"{clinic.name} is changed.\n")
    _refuse_set_up(settings)
    clinic, first = _asked(given), _first(given)
    with _new_store(settings) as store, store.write(SYSTEM, now) as unit:
        if is_set_up(unit.session):
            raise _is_there(settings)
        put_clinic(unit, clinic)
        add_staff(
            unit,
            login=first.login,
            name=first.name,
            roles=first.roles,
            registration=first.registration,
            password_hash=first.password_hash,
        )
    if not settings.key_file.exists():
        create_keyring(settings.key_file)
    return CommandOutcome(f"{clinic.name} is set up in {settings.folder}. Go on with: followup serve\n")


@click.command()
@folder_option
@click.option("--host", help="Network address of the pages; else 127.0.0.1, this computer only.")
@click.option("--port", help="Port of the pages; else 8470.")
@click.option("--protocol", metavar="DIR", help="The clinic's own protocol; else the sample.")
@click.option("--https", is_flag=True, help="The pages are reached through HTTPS only: keep cookies to it.")
def serve(
    folder: str | None, host: str | None, port: str | None, protocol: str | None, https: bool
) -> CommandOutcome:
    """Serve the pages and keep the lists up to date until stopped (Ctrl-C)."""
    settings = settings_from(folder, host=host, port=port, protocol=protocol)
    with opened(settings) as store:
        desk = desk_for(settings, store, https=https)
        place = workplace(settings, store, desk.protocol)
        serve_pages(desk, listen(settings), ["Stop with Ctrl-C."], place=place)
    return CommandOutcome()


@click.command()
@folder_option
def sweep(folder: str | None) -> CommandOutcome:
    """Note once what turned late or overdue and do the day's work, where no ``serve`` runs."""
    settings = settings_from(folder)
    with opened(settings) as store:
        swept = run_sweep(store, datetime.now(UTC))
        work(workplace(settings, store, load_protocol(settings.protocol)), owner_name(), utc_now)
    done = (
        f"{counted(swept.looked_at, 'open visit', 'open visits')} looked at, {swept.noticed} newly noted.\n"
    )
    if swept.failed:
        return CommandOutcome(done, FAULT, f"visits that can't be read: {listed(map(str, swept.failed))}")
    return CommandOutcome(done)


def _changed(clinic: Clinic, given: Given) -> Clinic:
    """``clinic`` with what was given; what was not stays as it is."""
    keys = {
        "name": "name",
        "code": "code",
        "phone_day": "phone_day",
        "phone_night": "phone_night",
        "zone": "zone",
        "nearest": "nearest_eye_clinic",
        "address": "address",
        "language": "sheet_languages",
        "staff_language": "staff_language",
    }
    changes = {field: given[option] for option, field in keys.items() if given[option]}
    flags = ("cap_colours", "days_to_tick")
    changes |= {field: given[field] for field in flags if given[field] is not None}
    file = given["calendar"]
    if isinstance(file, str):
        calendar = parse_calendar(*read_object(file))
        changes["calendar"] = calendar.model_dump_json(exclude_defaults=True)
    changed = replace(clinic, **changes)
    for name in ("name", "address", "nearest_eye_clinic", "phone_day", "phone_night"):
        must_print_text(getattr(changed, name), f"clinic: {name}")
    return changed


def _asked(given: Given) -> Clinic:
    """A new clinic, every answer that is missing asked for."""
    answers = dict(given)
    for option, question in (
        ("name", "Name of the clinic"),
        ("code", "Short code in capital letters"),
        ("phone_day", "Telephone by day"),
        ("phone_night", "Telephone by night"),
        ("zone", "Time zone, such as Asia/Dhaka"),
    ):
        answers[option] = _ask(given[option], option, question)
    return _changed(Clinic(name="", code="", phone_day="", phone_night="", zone=""), answers)


def _first(given: Given) -> First:
    login = _ask(given["login"], "login", "Log-in name of the first member of staff")
    name = must_print_text(_ask(given["staff_name"], "staff_name", "That person's name"), "staff name")
    roles = given["role"] if isinstance(given["role"], tuple) else ()
    return First(
        login,
        name,
        roles or ("manager",),
        str(given["registration"] or ""),
        Passwords().hash(typed_password(twice=True)),
    )


def _is_made_now(path: Path) -> bool:
    """Whether the file is new by this call; of two that begin at once only one makes it."""
    try:
        path.touch(mode=0o600, exist_ok=False)
    except FileExistsError:
        return False
    return True


def _ask(value: object, option: str, question: str) -> str:
    if isinstance(value, str):
        return value
    if not someone_answers():
        raise click.UsageError(f"Missing option '--{option.replace('_', '-')}'", click.get_current_context())
    answer: str = click.prompt(question, err=True)
    return answer


def _refuse_set_up(settings: Settings) -> None:
    path = sqlite_file(settings)
    if path is not None and not path.exists():
        return
    with reachable(settings) as store:
        if schema_state(store.engine) != "empty":
            raise _is_there(settings)


def _is_there(settings: Settings) -> FollowupError:
    return FollowupError(
        "init.exists",
        "a clinic is set up here already",
        where=str(settings.folder),
        fix="add --again to change its data, or name another --folder",
    )


@contextmanager
def _new_store(settings: Settings) -> Iterator[Store]:
    """A new database; if setting it up fails, its file is taken away again."""
    path = sqlite_file(settings)
    for place in (settings.folder, path.parent if path else settings.folder, settings.key_file.parent):
        place.mkdir(parents=True, exist_ok=True, mode=0o700)
    fresh = path is not None and _is_made_now(path)
    try:
        with reachable(settings) as store:
            upgrade(store.engine)
            yield store
    except BaseException:
        if fresh and path is not None:
            for name in (path.name, f"{path.name}-wal", f"{path.name}-shm"):
                path.with_name(name).unlink(missing_ok=True)
        raise
