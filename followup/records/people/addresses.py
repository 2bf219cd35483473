"""Whether a telephone number or a mail address is one, asked where it is entered.

What was stored before these rules stays readable: a record opens as it is, and a message to such an
address fails by name instead of stopping the others.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import cast

from followup.clinical.record import Phone
from followup.errors import FollowupError
from followup.records.channels import WAYS_OUT, Channel
from followup.records.people.folding import fold_phone
from followup.said import say

# ITU-T E.164: at most 15 digits. The fewest that a clinic dials from outside: common practice, no source.
FEWEST_DIGITS, MOST_DIGITS = 5, 15
# RFC 5321, 4.5.3.1: octets before the @, and in all.
LONGEST_LOCAL, LONGEST_MAIL = 64, 254
_ATOM = r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+"
_LABEL = r"[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
_MAIL = re.compile(rf"(?P<local>{_ATOM}(?:\.{_ATOM})*)@(?:{_LABEL}\.)+{_LABEL}", re.ASCII)
_BETWEEN = frozenset(" ().-/")


def is_phone(number: str) -> bool:
    """Whether it can be dialled: digits of any script with what is written between them, maybe a + first."""
    rest = number[1:] if number.startswith("+") else number
    written = all(c in _BETWEEN or unicodedata.digit(c, None) is not None for c in rest)
    return written and FEWEST_DIGITS <= len(fold_phone(number)) <= MOST_DIGITS


def with_plain_digits(number: str) -> str:
    """The number as a machine dials it: each digit of another script as 0 to 9."""
    return "".join(c if (d := unicodedata.digit(c, None)) is None else str(d) for c in number)


def is_mail(address: str) -> bool:
    """Whether a mail can be sent to it: name@place.domain, as RFC 5321 writes it without quotes."""
    found = _MAIL.fullmatch(address)
    return found is not None and len(found["local"]) <= LONGEST_LOCAL and len(address) <= LONGEST_MAIL


def is_usable(channel: str, address: str) -> bool:
    """Whether messages by this way can go to this address."""
    takes = WAYS_OUT[cast(Channel, channel)].takes
    if takes == "mail":
        return is_mail(address)
    if takes == "telephone":
        return is_phone(address)
    return not address or takes == "none" or is_mail(address) or is_phone(address)


def refuse_phones(new: Iterable[Phone], before: Iterable[Phone] = ()) -> None:
    """Refuse a telephone number that can't be dialled, unless it stood in the record ``before``.

    Error ``record.telephone``.
    """
    known = {phone.number for phone in before}
    for place, phone in enumerate(new):
        if phone.number not in known and not is_phone(phone.number):
            raise FollowupError(
                "record.telephone",
                say(
                    "{number} can't be dialled: it takes {fewest_digits} to {most_digits} digits",
                    number=phone.number,
                    fewest_digits=FEWEST_DIGITS,
                    most_digits=MOST_DIGITS,
                ),
                where=say("patient.telephones.{place}.number", place=place),
                fix=say("type the whole number, with its area code"),
            )
