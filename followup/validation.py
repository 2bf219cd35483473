"""What a wrong field is told, in plain words instead of the validator's own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# By the validator's type of problem; the values in braces are its context.
WORDS: dict[str, str] = {
    "missing": "must be filled in",
    "extra_forbidden": "is not known; take it out or correct its name",
    "literal_error": "must be {expected}",
    "enum": "must be {expected}",
    "bool_type": "must be yes or no",
    "bool_parsing": "must be yes or no",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_from_float": "must be a whole number",
    "int_parsing_size": "is too large a number",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "finite_number": "must be a number",
    "greater_than": "must be more than {gt}",
    "greater_than_equal": "must be {ge} or more",
    "less_than": "must be less than {lt}",
    "less_than_equal": "must be {le} or less",
    "string_type": "must be a text",
    "string_too_short": "must have at least {min_length} characters",
    "string_too_long": "must have at most {max_length} characters",
    "string_pattern_mismatch": "is not written in the right form",
    "too_short": "must have at least {min_length} entries",
    "too_long": "must have at most {max_length} entries",
    "list_type": "must be a list",
    "tuple_type": "must be a list",
    "dict_type": "must be a group of fields",
    "model_type": "must be a group of fields",
    "model_attributes_type": "must be a group of fields",
    "date_type": "must be a day, written YYYY-MM-DD",
    "date_parsing": "must be a day, written YYYY-MM-DD",
    "date_from_datetime_parsing": "must be a day, written YYYY-MM-DD",
    "date_from_datetime_inexact": "must be a day, written YYYY-MM-DD",
    "time_type": "must be a clock time, written HH:MM",
    "time_parsing": "must be a clock time, written HH:MM",
}
# How the pattern of a clock time of 24 hours begins.
_CLOCK = "^([01]"


def problem_words(problem: Mapping[str, Any]) -> str:
    """One entry of ``ValidationError.errors()`` in plain words; our own sentences stay as they are."""
    words = WORDS.get(problem["type"])
    if str(problem.get("ctx", {}).get("pattern", "")).startswith(_CLOCK):
        words = WORDS["time_parsing"]
    if words is None:
        return str(problem["msg"]).removeprefix("Value error, ")
    try:
        return words.format(**problem.get("ctx", {}))
    except KeyError:
        return str(problem["msg"])
