"""The sentences of the messages, in plain English; every language's sheet catalogue translates them.

No name, no diagnosis: a telephone may be read by anyone. Short, because each costs the clinic.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from followup.clinical.record import Eye
from followup.language.catalogues import N_

MessageKind = Literal["reminder", "step change", "missed"]
Reader = Literal["patient", "carer"]

# Translators: text messages to a telephone. %(clinic)s is the clinic's name, %(phone)s its number.
# Keep them short. "The person you help with drops" is written to a relative or neighbour.
TEXTS: Mapping[tuple[MessageKind, Reader], str] = {
    ("reminder", "patient"): N_(
        "%(clinic)s: your visit is on %(day)s. Bring your sheet and all bottles. "
        "If you cannot come, call %(phone)s."
    ),
    ("reminder", "carer"): N_(
        "%(clinic)s: the visit of the person you help with drops is on %(day)s. "
        "Bring the sheet and all bottles. If you cannot come, call %(phone)s."
    ),
    ("step change", "patient"): N_(
        "%(clinic)s: your drops change on %(day)s. Your sheet says how. Questions: call %(phone)s."
    ),
    ("step change", "carer"): N_(
        "%(clinic)s: on %(day)s the drops of the person you help change. "
        "The sheet says how. Questions: call %(phone)s."
    ),
    ("missed", "patient"): N_(
        "%(clinic)s: you did not come to your visit. Come as soon as you can, "
        "even if the eye feels well, or call %(phone)s."
    ),
    ("missed", "carer"): N_(
        "%(clinic)s: the person you help with drops did not come to a visit. Come together as soon as "
        "you can, even if the eye feels well, or call %(phone)s."
    ),
}

EYES: Mapping[Eye | None, str] = {"right": N_("Right eye"), "left": N_("Left eye"), None: N_("By mouth")}

# Translators: one line for each eye and medicine whose number of drops changes, in a text message.
CHANGED = N_("%(eye)s, %(medicine)s: %(times)s.")
STOP = N_("To stop these messages, tell us: %(phone)s.")
