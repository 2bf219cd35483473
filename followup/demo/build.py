"""Making the sample clinic in a folder: database, keys, staff, protocol signed, weeks told."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

from followup.clinical.protocol.load import load_protocol
from followup.demo import clinic
from followup.demo.cast import BACK, cast, expected
from followup.demo.story import Story
from followup.desks.door.hand import Desk
from followup.language.dates import long_date
from followup.language.languages import LANGUAGES
from followup.recall.codes.codes import Keyring, save_keyring
from followup.recall.jobs.sweep import sweep
from followup.records.house.clinics import put_clinic
from followup.records.house.staff import add_staff, staff_by_login
from followup.records.plans.protocols import sign_protocol
from followup.records.store.migrations import upgrade
from followup.records.store.store import Store
from followup.records.views import SYSTEM, Clinic
from followup.settings import Settings

PASSWORD = "sample clinic"  # noqa: S105 - shown to whoever starts the demonstration
SEED = 1


def build(
    settings: Settings,
    store: Store,
    *,
    now: datetime,
    clock: Callable[[], datetime],
    seed: int,
    tell: Callable[[str], None] = lambda _line: None,
) -> Desk:
    """Fill an empty ``store`` with the sample clinic as it is at ``now``; the desk to serve it with.

    ``tell`` is given a line for each stage, for whoever waits.
    """
    today = now.astimezone(ZoneInfo(clinic.TIME_ZONE)).date()
    shut = clinic.closed_weekday(today).capitalize()
    day = long_date(today, LANGUAGES["en"])
    tell(f"It is {day}, a day on which the sample clinic works. Closed: {shut}s")
    tell("Setting up the clinic, its staff and its protocol")
    upgrade(store.engine)
    rng = Random(f"{seed} {today}")  # noqa: S311 - invention, not a secret
    opening = now - timedelta(days=BACK + 21)
    protocol = load_protocol()
    desk = Desk(store=store, protocol=protocol, keyring=_keyring(seed), clock=clock)
    save_keyring(settings.key_file, desk.keyring)
    # Made of the clinic's own words, and written in the manual: it is a sample and holds nobody's data.
    stored_password = desk.passwords.hash(PASSWORD)
    with store.write(SYSTEM, opening) as unit:
        put_clinic(unit, _clinic(now))
        for member in clinic.STAFF:
            add_staff(
                unit,
                login=member.login,
                name=member.name,
                roles=[member.role],
                registration=member.registration or "",
                password_hash=stored_password,
            )
    with store.read() as session:
        surgeon = staff_by_login(session, clinic.SURGEON.login)
    assert surgeon is not None
    with store.write(surgeon.actor, opening) as unit:
        sign_protocol(unit, hash=protocol.hash, name=protocol.name, version=protocol.version)
    Story(desk, rng, now, tell).tell(cast(rng, today), expected(rng, today))
    tell("Looking for visits that are late")
    sweep(store, now)
    return desk


def _keyring(seed: int) -> Keyring:
    """Keys from the seed, so that the same demonstration prints the same codes; they guard nothing."""
    return Keyring("01", {"01": hashlib.sha256(f"sample clinic {seed}".encode()).digest()})


def _clinic(now: datetime) -> Clinic:
    today = now.astimezone(ZoneInfo(clinic.TIME_ZONE)).date()
    calendar = {
        "open_weekdays": clinic.open_weekdays(today),
        "holidays": [day.isoformat() for day in clinic.holidays(today)],
        "services": [
            {"name": "review", "capacity": 24},
            {"name": "pressure", "capacity": 24},
            {"name": "refraction", "capacity": 12},
            {"name": "macula", "weekdays": ["monday", "tuesday", "thursday"], "capacity": 6},
            {
                "name": "retina",
                "weekdays": ["tuesday", "sunday" if clinic.closed_weekday(today) == "friday" else "friday"],
                "capacity": 6,
            },
            {"name": "stitches", "weekdays": ["monday", "wednesday"], "capacity": 4},
        ],
        "half_days": [{"weekday": "saturday", "capacity": "half"}],
    }
    return Clinic(
        name=clinic.NAME,
        code=clinic.CODE,
        phone_day=clinic.TELEPHONE_DAY,
        phone_night=clinic.TELEPHONE_NIGHT,
        zone=clinic.TIME_ZONE,
        nearest_eye_clinic=clinic.NEAREST_EYE_CLINIC,
        address=clinic.ADDRESS,
        sheet_languages=clinic.LANGUAGES,
        is_sample=True,
        calendar=json.dumps(calendar),
    )
