"""What a look saw of the cells, beside what is expected on that day."""

from __future__ import annotations

from followup.clinical.english import counted, joined
from followup.clinical.protocol.reviews import GRADES
from followup.clinical.review.look import Look
from followup.said import say


def _against_expected(found: str, day: int, most: str, uveitic: bool) -> str:
    if most == GRADES[0]:
        if uveitic:
            return say(
                "Cells {found} on day {day}, none expected in an eye with uveitis.", found=found, day=day
            )
        return say(
            "Cells {found} on day {day}, none expected in an eye without uveitis.", found=found, day=day
        )
    if uveitic:
        return say(
            "Cells {found} on day {day}, {most} or fewer expected in an eye with uveitis.",
            found=found,
            day=day,
            most=most,
        )
    return say(
        "Cells {found} on day {day}, {most} or fewer expected in an eye without uveitis.",
        found=found,
        day=day,
        most=most,
    )


def cells_seen(look: Look) -> str:
    """What this look saw, as the reason of a proposal."""
    found = "not seen" if look.cells is None else GRADES[look.cells]
    most = look.protocol.review.expected_cells(look.uveitic, look.day)
    said = [_against_expected(found, look.day, most, look.uveitic)]
    if look.cells_before is not None:
        said.append(say("Last time they were {cells_before}.", cells_before=GRADES[look.cells_before]))
    if look.taken_count:
        said.append(
            say(
                "Steroid taken now: {taken_count} a day.",
                taken_count=counted(look.taken_count, "drop", "drops"),
            )
        )
    elif look.untaken and look.present_count:
        said.append(
            say(
                "Steroid ordered, and not taken: {present_count} a day.",
                present_count=counted(look.present_count, "drop", "drops"),
            )
        )
    else:
        said.append(say("No steroid drop is taken now."))
    return joined(said)
