"""``followup import --fhir``: a bundle in, a draft of an operative record out; nothing is stored."""

from __future__ import annotations

import json
from zoneinfo import ZoneInfo

from followup.cli.contract import CommandOutcome, visible
from followup.cli.files import read_object, target, write_out
from followup.cli.opening import opened, settings_from
from followup.clinical.english import counted
from followup.exchange.fhir.draft import draft_record
from followup.records.house.clinics import get_clinic


def draft_of_bundle(file: str, folder: str | None, out: str | None) -> CommandOutcome:
    """Write the draft that the bundle in ``file`` gives, and say what it lacks, a line each.

    ``out``: where to; None: beside where the command runs, by the patient's code. Errors: those of
    ``draft_record``, of reading and of writing.
    """
    data, source = read_object(file)
    with opened(settings_from(folder)) as store, store.read() as session:
        zone = ZoneInfo(get_clinic(session).zone)
    draft = draft_record(data, source, zone)
    path = target(out, f"{draft.record['patient'].get('code', 'patient')}.draft.json")
    text = json.dumps(draft.record, ensure_ascii=False, indent=2) + "\n"
    # Half a letter, which no text can be, stays written as JSON writes it; its gap names the field.
    write_out(path, text.encode(errors="backslashreplace"), never=file)
    count = counted(len(draft.gaps), "gap", "gaps")
    lines = [f"{path}: a draft, nothing is stored. {count}:", *(f"  {gap}" for gap in draft.gaps)]
    return CommandOutcome(visible("\n".join(lines)) + "\n")
