"""Which new passwords are taken: NIST SP 800-63B, 3.1.1.2 and OWASP ASVS 5.0, 6.2.

No composition rules; a length; a list of common passwords, and words that everybody knows of a person and
a clinic.
"""

from __future__ import annotations

import subprocess
import sys

import pytest
from argon2 import PasswordHasher

from followup.care.new_password import known_texts, stored_password
from followup.care.passwords import Passwords
from followup.errors import FollowupError
from followup.records.views import Clinic

CLINIC = Clinic(
    name="Riverbend Eye Clinic",
    code="RBE",
    phone_day="-",
    phone_night="-",
    zone="Asia/Kolkata",
    address="12 Mill Road, Northport",
)
KNOWN = known_texts(CLINIC, "counsellor", "Wanjiru Ndegwa")
PASSWORDS = Passwords(PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))

REFUSED = {
    "password.length": ("aaaaaaaaaa", "password12", " " * 10, "counsellor", "x" * 201),
    "password.pattern": (
        *(" " * 12, "aaaaaaaaaaaa", "abcabcabcabc", "abc abc abc abc", "passwordpassword", "letmein letmein"),
        *("password password1", "abcdefghijkl", "zyxwvutsrqpo", "123456789012", "098765432109"),
        *("qwertyuiop12", "asdfghjkl;'#", "1qaz2wsx3edc4rfv", "123456qwerty", "------------"),
        *("কখগঘঙচছজঝঞটঠ", "१२३४५६७८९०१२", "123456789abc"),
    ),
    "password.common": (
        "password1234",
        "Password 2026!!",
        "  iloveyou  2027",
        "p a s s w o r d 1",
        "PASSWORD-12345",
    ),
    "password.known": (
        *(
            "counsellor2026",
            "Counsellor!!!!",
            "counsellorcounsellors",
            "wanjiru ndegwa",
            "Ndegwa, Wanjiru 1955",
        ),
        *(
            "Riverbend Eye Clinic",
            "riverbend123456",
            "followup 2026!",
            "followup-RBE-2026",
            "12 Mill Road 12",
        ),
        "my riverbend password",
    ),
}
TAKEN = (
    *("a long enough password", "correct horse battery staple", "x7#kP9!mQ2vL", "kürzlich grünes Haus"),
    *(
        "gnklwtpzrmvb",
        "চাঁদের আলো নদীতে",
        "नीला घोड़ा धीरे",
        "قمر فوق النهر",
        "seven eyes on the river bank",
        "7391 5028 6614",
    ),
)


@pytest.mark.parametrize(
    ("code", "password"), [(code, one) for code, many in REFUSED.items() for one in many]
)
def test_a_password_that_is_guessed_first_is_refused_with_the_reason_and_the_way_out(code, password):
    with pytest.raises(FollowupError) as caught:
        stored_password(PASSWORDS, password, known=KNOWN)
    assert caught.value.code == code
    assert caught.value.fix


@pytest.mark.parametrize("password", TAKEN)
def test_any_other_is_taken_whatever_it_is_composed_of(password):
    stored = stored_password(PASSWORDS, password, known=KNOWN)
    assert PASSWORDS.matches(stored, password)


def test_the_words_of_another_clinic_and_person_are_words_like_any_others():
    elsewhere = known_texts(None, "asha", "Asha Devi")
    assert stored_password(PASSWORDS, "wanjiru ndegwa", known=elsewhere)


# RFC 8265, 4.2.2: the same text, composed or not, with whatever blank the keyboard makes.
@pytest.mark.parametrize(
    "typed",
    ["gru\u0308nes Haus am See", "gr\u00fcnes\u00a0Haus am See", "gru\u0308nes\u3000Haus am See"],
)
def test_a_password_is_the_same_however_the_keyboard_composes_it(typed):
    stored = stored_password(PASSWORDS, "gr\u00fcnes Haus am See")
    assert PASSWORDS.matches(stored, typed)
    assert not PASSWORDS.matches(stored, "grunes Haus am See")


def test_a_hash_of_the_password_as_it_was_typed_before_still_matches():
    typed = "gru\u0308nes\u00a0Haus am See"
    old = PASSWORDS._hasher.hash(typed)
    assert PASSWORDS.matches(old, typed)
    assert not PASSWORDS.matches(old, "gr\u00fcnes Haus am Se")


def test_somebody_with_a_shorter_password_from_before_still_logs_in():
    old = PASSWORDS._hasher.hash("short one")
    assert PASSWORDS.matches(old, "short one")
    assert PASSWORDS.rehashed(old, "short one") is None
    assert Passwords().rehashed(old, "short one").startswith("$argon2id$v=19$m=65536")


def test_the_list_is_loaded_only_where_a_password_is_chosen():
    asked = "import sys, followup.cli, followup.desks.app; print('zxcvbn' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"
