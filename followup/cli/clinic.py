"""``followup init``, ``serve`` and ``sweep``: a real clinic's database, pages and lists."""

from __future__ import annotations

import json
import shlex
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import click

from followup.care.house.clinic_answers import READERS, open_days, sheet_language, staff_language
from followup.care.house.staff import login_name, staff_name
from followup.care.new_password import known_texts
from followup.cli.asking import answer
from followup.cli.contract import FAULT, CommandOutcome
from followup.cli.files import read_object
from followup.cli.opening import folder_option, is_there, new_store, opened, refuse_set_up, settings_from
from followup.cli.passwords import new_password, someone_answers
from followup.cli.serving import announce, desk_for, listen, serve_pages
from followup.cli.workplace import workplace
from followup.clinical.english import counted, listed
from followup.clinical.protocol.load import load_protocol
from followup.desks.door.permissions import ROLES
from followup.desks.words.extraction import DESK_LANGUAGES
from followup.language.languages import LANGUAGES
from followup.recall.codes.codes import create_keyring
from followup.recall.jobs.scheduler import owner_name, utc_now, work
from followup.recall.jobs.sweep import sweep as run_sweep
from followup.records.house.clinics import clinic_calendar_of, get_clinic, is_set_up, put_clinic
from followup.records.house.staff import add_staff
from followup.records.store.migrations import upgrade
from followup.records.views import SYSTEM, Clinic
from followup.timing.calendar import parse_calendar

_AGAIN = "add --again to change its data, or name another --folder"
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
@click.option("--open-days", help="Weekdays on which the clinic works, such as mon-sat; else every day.")
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
@click.option(
    "--keep-years",
    type=int,
    help="Years that the law of the place wants a record kept after the last visit; else 10.",
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
    refuse_set_up(settings, _AGAIN)
    clinic = _asked(given)
    first = _first(given, clinic)
    with new_store(settings) as store:
        upgrade(store.engine)
        with store.write(SYSTEM, now) as unit:
            if is_set_up(unit.session):
                raise is_there(settings, _AGAIN)
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
    where = f" --folder {shlex.quote(folder)}" if folder else ""
    return CommandOutcome(
        f"{clinic.name} is set up in {settings.folder}. Go on with: followup serve{where}\n"
        f"Then log in as {first.login}: the first page says what is left to do.\n"
    )


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
        listener = listen(settings)
        announce(listener, ["Stop with Ctrl-C."])
        serve_pages(desk, listener, place=place)
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
    """``clinic`` with what was given, each checked as when it is asked for; what was not stays as it is."""
    keys = {"nearest": "nearest_eye_clinic"}
    texts = ("name", "code", "phone_day", "phone_night", "zone", "nearest", "address")
    changes: Given = {
        (field := keys.get(option, option)): READERS[field](given[option])
        for option in texts
        if given[option] is not None
    }
    if given["language"]:
        changes["sheet_languages"] = tuple(dict.fromkeys(map(sheet_language, given["language"])))
    if given["staff_language"] is not None:
        changes["staff_language"] = staff_language(given["staff_language"], DESK_LANGUAGES)
    changes |= {
        flag: given[flag] for flag in ("cap_colours", "days_to_tick", "keep_years") if given[flag] is not None
    }
    file, days = given["calendar"], given["open_days"]
    if isinstance(file, str):
        changes["calendar"] = parse_calendar(*read_object(file)).model_dump_json(exclude_defaults=True)
    if days is not None:
        calendar = clinic_calendar_of(replace(clinic, **changes)).model_dump(
            mode="json", exclude_defaults=True
        )
        changes["calendar"] = json.dumps(calendar | {"open_weekdays": list(open_days(days))})
    return replace(clinic, **changes)


def _asked(given: Given) -> Clinic:
    """A new clinic, every answer that is missing asked for."""
    answers = dict(given)
    for option, question, usual in (
        ("name", "Name of the clinic, as patients know it", None),
        ("code", "Short code for the return codes, in capital letters, such as RB", None),
        ("phone_day", "Telephone by day", None),
        ("phone_night", "Telephone by night", None),
        ("zone", "Time zone, such as Asia/Dhaka", None),
        ("address", "Address, as it stands on sheets (Enter: none)", ""),
        ("nearest", "Nearest eye clinic for patients from far away, with telephone (Enter: none)", ""),
    ):
        field = "nearest_eye_clinic" if option == "nearest" else option
        answers[option] = answer(given[option], option, question, READERS[field], usual=usual)
    known = " ".join(sorted(LANGUAGES))
    answers["language"] = given["language"] or answer(
        None, "language", f"Languages of the sheets, of {known}", _languages, usual="en"
    )
    question = f"Language of the pages, of {' '.join(DESK_LANGUAGES)}"
    answers["staff_language"] = answer(
        given["staff_language"], "staff_language", question, _staff_language, usual="en"
    )
    if given["calendar"] is None and (given["open_days"] is not None or someone_answers()):
        answers["open_days"] = answer(
            given["open_days"], "open_days", "Open days, such as mon-fri or sun mon tue", _days
        )
    return _changed(Clinic(name="", code="", phone_day="", phone_night="", zone=""), answers)


def _languages(text: str) -> tuple[str, ...]:
    return tuple(sheet_language(one) for one in text.replace(",", " ").split() or [""])


def _staff_language(text: str) -> str:
    return staff_language(text, DESK_LANGUAGES)


def _days(text: str) -> str:
    return " ".join(open_days(text))


def _first(given: Given, clinic: Clinic) -> First:
    """Whoever lets in the others: the questions after those of the clinic."""
    login = answer(given["login"], "login", "Log-in name of the first member of staff", login_name)
    name = answer(given["staff_name"], "staff_name", "That person's name", staff_name)
    roles = given["role"] if isinstance(given["role"], tuple) else ()
    return First(
        login,
        name,
        roles or ("manager",),
        str(given["registration"] or ""),
        new_password(known_texts(clinic, login, name)),
    )
