"""``followup erase``: a patient asks to be erased."""

from __future__ import annotations

from datetime import UTC, datetime

import click

from followup.care.house.erasing import in_words
from followup.cli.contract import CommandOutcome, visible
from followup.cli.opening import COMMAND_LINE, clinic_today, folder_option, opened, settings_from
from followup.records.desk.erasing import Erasing, asked_to_be_erased, erasing_of
from followup.records.desk.erasing import erase as erase_patient
from followup.typed import plain


@click.command()
@click.argument("code", required=False)
@folder_option
@click.option("--yes", is_flag=True, help="Do it; without it only say what would go. It can't be taken back.")
def erase(code: str | None, folder: str | None, yes: bool) -> CommandOutcome:
    """Erase the patient CODE, who asks for it; without CODE list who asked, and how long each is kept.

    At once goes what is not the medical record; the record goes when the years are over for which the law
    wants it kept (followup init --again --keep-years).
    """
    settings, now = settings_from(folder), datetime.now(UTC)
    with opened(settings) as store:
        today = clinic_today(store, now)
        if code is None:
            with store.read() as session:
                asked = asked_to_be_erased(session)
            return CommandOutcome(visible("".join(map(_line, asked)) or "Nobody asked to be erased.\n"))
        if yes:
            with store.write(COMMAND_LINE, now) as unit:
                found = erase_patient(unit, code=code)
            store.settle()
        else:
            with store.read() as session:
                found = erasing_of(session, code, now)
    lines = [f"{found.code} {found.name}".strip(), *in_words(found, today)]
    if not yes and not found.followed and found.gone_at is None:
        lines.append("Nothing is erased yet: add --yes to do it.")
    return CommandOutcome(visible("".join(f"{plain(line)}\n" for line in lines)))


def _line(one: Erasing) -> str:
    if one.gone_at is not None:
        return f"{one.code}: everything went on {one.gone_at:%Y-%m-%d}\n"
    return f"{one.code}: contact went on {one.asked_at:%Y-%m-%d}; the record is kept until {one.kept_until}\n"
