"""One box that finds: a code, a name, a telephone number, a scanner's burst, a photo of the sheet."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, File, Request, Response

from followup.care.records.finding import LONGEST_SEARCH, scanned, whom
from followup.care.trips.hits import hits
from followup.desks.door.hand import AnyHand
from followup.desks.door.statuses import status_of
from followup.desks.page.pages import go, show
from followup.desks.page.posted import AForm, first
from followup.errors import FollowupError
from followup.recall.codes.photos import read_photo
from followup.records.desk.erasing import erased_sheet
from followup.records.plans.sheets import find_sheet
from followup.said import say

router = APIRouter()


@router.post("/find")
def find(request: Request, hand: AnyHand, form: AForm) -> Response:
    """A typed or scanned code, a name, a telephone number or a patient code, all in one box."""
    text = first(form, "text")
    if not text:
        return go("/today")
    if len(text) > LONGEST_SEARCH:
        raise FollowupError(
            "find.length", say("too long for a code or a name"), where=say("search"), fix=say("shorten it")
        )
    scan = scanned(hand, text)
    with hand.store.read() as session:
        if scan.sheet_id and find_sheet(session, scan.sheet_id):
            return go(f"/found/{scan.sheet_id}")
        if scan.sheet_id and (gone := erased_sheet(session, scan.sheet_id)):
            return _page(request, 200, text=text, gone=gone)
        people, similar = whom(session, scan, text)
        # Whoever is only written almost so is chosen by a person, never by the program.
        if len(people) == 1 and not similar and scan.outcome != "ours":
            return go(f"/patients/{people[0].code}")
        found = hits(session, hand, people)
    status = 200 if people else 404
    given = {"people": found, "similar": similar, "scan": scan if not people else None}
    return _page(request, status, text=text, **given)


@router.post("/photo")
def photo(request: Request, hand: AnyHand, photo: Annotated[bytes, File()] = b"") -> Response:
    """A photo of the sheet, read here and kept nowhere."""
    try:
        if not photo:
            raise FollowupError(
                "photo.none",
                say("no photo was chosen"),
                where=say("photo"),
                fix=say("take or choose a photo of the sheet"),
            )
        scan = read_photo(photo, hand.keyring, hand.clinic.code)
    except FollowupError as exc:
        return _page(request, status_of(exc), error=exc.line)
    with hand.store.read() as session:
        if scan.sheet_id and find_sheet(session, scan.sheet_id):
            return go(f"/found/{scan.sheet_id}")
        if scan.sheet_id and (gone := erased_sheet(session, scan.sheet_id)):
            return _page(request, 200, gone=gone)
    return _page(request, 404, scan=scan)


def _page(request: Request, status: int, **context: object) -> Response:
    given = {"text": "", "people": (), "similar": False, "scan": None, "gone": None, "error": None} | context
    return show(request, "find.html", status=status, **given)
