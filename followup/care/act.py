"""What an act of the clinic is told: the same typed words, whether a page's form or a program sent them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

from followup.typed import plain

# No database gives out larger numbers.
MOST_ID = 999_999_999
Id = Annotated[int, Field(strict=True, ge=1, le=MOST_ID)]
Number = Annotated[int, Field(strict=True, ge=0, le=MOST_ID)]
Truth = Annotated[bool, Field(strict=True)]
Line = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500), AfterValidator(plain)]
# Passwords are taken as they are typed.
Password = Annotated[str, StringConstraints(min_length=1, max_length=500)]
Nonce = Annotated[
    str,
    StringConstraints(min_length=16, max_length=64, pattern=r"^[A-Za-z0-9_-]+$"),
    Field(description="any text, new for every deed; sent twice it counts once"),
]
Login = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
OneEye = Literal["right", "left"]


class Act(BaseModel):
    """What somebody does, as it was sent: nothing that is not known, no number in place of a word."""

    model_config = ConfigDict(extra="forbid", frozen=True)
