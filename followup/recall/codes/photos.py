"""The sheet in a photo: decoded in a child process that ends with it; the photo is never stored."""

from __future__ import annotations

import json
import subprocess
import sys

from followup.errors import FollowupError
from followup.recall.codes.codes import Keyring, Scan, read_scan
from followup.said import say

MOST_BYTES = 12_000_000
_SECONDS = 15


def read_photo(photo: bytes, keyring: Keyring, clinic: str) -> Scan:
    """The one sheet in the photo.

    Errors: ``photo.size``, ``photo.picture`` (no picture at all, or too slow), ``photo.code`` (no
    code in it), ``photo.two`` (two different sheets: nobody can tell which is meant).
    """
    if len(photo) > MOST_BYTES:
        raise FollowupError(
            "photo.size",
            say("the photo is larger than {most_bytes} MB", most_bytes=MOST_BYTES // 1000000),
            where=say("photo"),
            fix=say("take it again in a smaller size, or type the return code"),
        )
    scans = [read_scan(text, keyring, clinic) for text in _texts(photo)]
    codes = {scan.sheet_id or scan.reason: scan for scan in scans if scan.outcome != "not a code"}
    if not codes:
        raise FollowupError(
            "photo.code",
            say("no return code is seen in this photo"),
            where=say("photo"),
            fix=say("hold the sheet flat and near, all of the square in the picture, or type the code"),
        )
    ours = {key: scan for key, scan in codes.items() if scan.sheet_id}
    if len(ours or codes) > 1:
        raise FollowupError(
            "photo.two",
            say("two different sheets are in this photo"),
            where=say("photo"),
            fix=say("take a photo of one sheet alone"),
        )
    return next(iter((ours or codes).values()))


def _texts(photo: bytes) -> list[str]:
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "followup.recall.codes.photo_worker"],
            input=photo,
            capture_output=True,
            timeout=_SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired:
        done = None
    if done is None or done.returncode != 0:
        raise FollowupError(
            "photo.picture",
            say("this is no picture that can be read"),
            where=say("photo"),
            fix=say("take a JPEG or PNG photo of the sheet, or type the return code"),
        )
    found: list[str] = json.loads(done.stdout)
    return found
