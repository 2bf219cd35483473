"""``followup site``: several places of one clinic in one database, and who works at which."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import click

from followup.cli.contract import CommandOutcome, visible
from followup.cli.files import read_object
from followup.cli.opening import folder_option, opened, settings_from
from followup.errors import FollowupError
from followup.language.entered import must_print_text
from followup.records.house.staff import all_staff, bind_staff
from followup.records.store.sites import Site, all_sites, put_site
from followup.records.store.store import Store
from followup.records.views import SYSTEM


@click.group()
def site() -> None:
    """The sites of the clinic; staff bound to one see its patients alone."""


@site.command("list")
@folder_option
def list_sites(folder: str | None) -> CommandOutcome:
    """Print the sites and who works at each; staff without a site work at all of them."""
    with opened(settings_from(folder)) as store, store.read() as session:
        sites, staff = all_sites(session), all_staff(session)
    lines = [
        f"{one.code}: {one.name or 'as the clinic'}; "
        f"staff: {', '.join(who.login for who in staff if who.site == one.id) or 'nobody of its own'}\n"
        for one in sites
    ]
    everywhere = ", ".join(who.login for who in staff if who.site is None)
    return CommandOutcome(visible("".join([*lines, f"At every site: {everywhere or 'nobody'}\n"])))


@site.command()
@click.argument("code")
@folder_option
@click.option("--name", help="Name of the site as patients know it; needed for a new one.")
@click.option("--phone-day", help="Telephone by day; else the clinic's.")
@click.option("--phone-night", help="Telephone by night; else the clinic's.")
@click.option("--address", help="Where the site is, as it stands on sheets; else the clinic's.")
@click.option("--calendar", metavar="FILE", help="Its own open days, services and places; else the clinic's.")
def put(code: str, folder: str | None, calendar: str | None, **given: str | None) -> CommandOutcome:
    """Add the site CODE, or change it; what is not given stays as it is."""
    for name in ("name", "address", "phone_day", "phone_night"):
        must_print_text(given[name] or "", f"site: {name}")
    with opened(settings_from(folder)) as store, store.write(SYSTEM, datetime.now(UTC)) as unit:
        known = next((one for one in all_sites(unit.session) if one.code == code), Site(0, code, ""))
        chosen = json.dumps(read_object(calendar)[0]) if calendar else known.calendar
        stored = put_site(
            unit,
            Site(
                known.id,
                code,
                given["name"] or known.name,
                given["phone_day"] or known.phone_day,
                given["phone_night"] or known.phone_night,
                chosen,
                given["address"] or known.address,
            ),
        )
        unit.log("site changed" if known.id else "site added", f"site:{code}", name=stored.name)
    return CommandOutcome(visible(f"{code} is stored.\n"))


@site.command()
@click.argument("login")
@click.argument("code", required=False)
@folder_option
def bind(login: str, code: str | None, folder: str | None) -> CommandOutcome:
    """Let LOGIN work at the site CODE alone; without CODE at every site."""
    with opened(settings_from(folder)) as store:
        number = _number(store, code) if code else None
        with store.write(SYSTEM, datetime.now(UTC)) as unit:
            bound = bind_staff(unit, login=login, site=number)
            unit.log("staff bound to a site", f"staff:{bound.login}", site=code)
    return CommandOutcome(visible(f"{bound.login} works at {code or 'every site'}.\n"))


def _number(store: Store, code: str) -> int:
    with store.read() as session:
        found = next((one.id for one in all_sites(session) if one.code == code), None)
    if found is None:
        raise FollowupError("site.unknown", f"there is no site {code}", fix="see: followup site list")
    return found
