"""Passwords: Argon2id as RFC 9106 defines it, against published results."""

from __future__ import annotations

import base64

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.low_level import Type, core, error_to_str, ffi, lib

from followup.care.passwords import Passwords
from followup.errors import FollowupError

CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


def test_rfc_9106_5_3_the_library_gives_the_tag_of_the_test_vector():
    """Three passes over 32 KiB in four lanes, with a secret and associated data."""
    given = {"pwd": b"\x01" * 32, "salt": b"\x02" * 16, "secret": b"\x03" * 8, "ad": b"\x04" * 12}
    out, kept = ffi.new("uint8_t[]", 32), {name: ffi.new("uint8_t[]", data) for name, data in given.items()}
    context = ffi.new(
        "argon2_context *",
        {
            "version": 0x13, "out": out, "outlen": 32,
            **kept, **{f"{name}len": len(data) for name, data in given.items()},
            "t_cost": 3, "m_cost": 32, "lanes": 4, "threads": 4,
            "allocate_cbk": ffi.NULL, "free_cbk": ffi.NULL, "flags": lib.ARGON2_DEFAULT_FLAGS,
        },
    )  # fmt: skip
    status = core(context, Type.ID.value)
    assert status == lib.ARGON2_OK, error_to_str(status)
    assert bytes(ffi.buffer(out)).hex() == "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"


# The test of the reference implementation (phc-winner-argon2, src/test.c, from memory): salt, memory in
# KiB, and the tag after two passes in one lane, version 0x13.
@pytest.mark.parametrize(
    ("password", "salt", "memory", "tag"),
    [
        ("password", "somesalt", 256, "9dfeb910e80bad0311fee20f9c0e2b12c17987b4cac90c2ef54d5b3021c68bfe"),
    ],
)
def test_a_published_hash_opens_with_its_password_and_with_no_other(password, salt, memory, tag):
    def plain(data: bytes) -> str:
        return base64.b64encode(data).decode().rstrip("=")

    stored = f"$argon2id$v=19$m={memory},t=2,p=1${plain(salt.encode())}${plain(bytes.fromhex(tag))}"
    passwords = Passwords(CHEAP)
    assert passwords.matches(stored, password)
    for wrong in ("Password", "password ", "passwore", ""):
        assert not passwords.matches(stored, wrong)
    # The same bytes under the name of the variant without its protection are another hash.
    assert not passwords.matches(stored.replace("argon2id", "argon2i"), password)
    assert not passwords.matches(None, password)
    assert not passwords.matches("no hash", password)


def test_rfc_9106_4_passwords_are_hashed_by_the_second_recommended_option():
    """Argon2id, three passes over 64 MiB in four lanes, a salt of 128 bits, a tag of 256."""
    used = Passwords()._hasher
    found = (used.type, used.time_cost, used.memory_cost, used.parallelism, used.salt_len, used.hash_len)
    assert found == (Type.ID, 3, 64 * 1024, 4, 16, 32)


def test_a_password_of_twelve_to_two_hundred_characters_is_hashed_each_time_under_another_salt():
    passwords = Passwords(CHEAP)
    for length in (12, 200):
        one, other = passwords.hash("x" * length), passwords.hash("x" * length)
        assert one != other
        assert extract_parameters(one).type is Type.ID
        assert passwords.matches(one, "x" * length)
        assert not passwords.matches(one, "x" * (length + 1))
    for length in (0, 11, 201):
        with pytest.raises(FollowupError, match="has 12 to 200 characters"):
            passwords.hash("x" * length)
