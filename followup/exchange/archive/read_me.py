"""What whoever opens an archive reads first."""

from __future__ import annotations

_TEXT = """\
A clinic, whole: its patients, operative records, plans, visits, sheets, staff and journal.

This file holds names, telephone numbers and diagnoses. Keep it as you keep the patients' records; it is not
encrypted.

WHAT LIES WHERE

  manifest.json         format and version, when it was made, by which version of the program, at which step
                        of the schema; of every other file its bytes, its SHA-256 and, of a table, its rows;
                        how long the journal is and the hash of its newest entry
  tables/NAME.jsonl     one table; each line is one row, a JSON object in UTF-8, lines end with a line feed
  schemas/NAME.schema.json
                        JSON Schema (2020-12) of each line of that table: what the table is for, what each
                        value is, and to which row of which table it points
  schemas/operative_record.schema.json
                        JSON Schema of the text in "body" of tables/record_version.jsonl, which is JSON itself
  schemas/manifest.schema.json
                        JSON Schema of manifest.json
  clinic/locales/       translations that somebody of the clinic has reviewed (gettext), where it has any
  clinic/protocol/      the clinic's own protocol (TOML), where it has one
{keys}
HOW TO READ IT

  A day is written YYYY-MM-DD. An instant is UTC, with its offset. "body" of tables/care_plan.jsonl is JSON
  too: the plan, as "followup schema plan" describes it, but each sentence as a template with its values.
  The newest operative record of a patient is the row of record_version whose number is the patient's
  record_number; the plan in force is the row of care_plan whose status is "active".
  Each row of journal.jsonl is sealed: "hash" is SHA-256 over "previous", the hash of the row before, and the
  JSON of its action, actor, at (with six figures of the second), details, number and subject, in this order,
  without blanks.

WHAT IS NOT IN IT

  Passwords, keys of second factors and open log-ins: nobody can log in with what stands here. Whoever brings
  it in gives one manager a new password (followup staff manager LOGIN), who gives the others theirs.
{no_keys}
BRINGING IT BACK

  followup import --all FILE --folder NEW

  puts it into a new folder or an empty database, whole or not at all. Every checksum, every row, the
  journal's chain and each signed plan and printed sheet are compared first. The checksums find damage; they
  don't show who wrote the file, and whoever may change it may change them too.
"""
_KEYS = """\
  keys/recall-keys.json.age
                        the keys that seal the codes of sheets, encrypted with a passphrase in the age format
"""
_NO_KEYS = """\
  The keys that seal the codes of sheets: they were not asked for. Without them a code that was printed before
  can be typed, not scanned. They lie in the clinic's key file and go along with: followup export --all FILE
  --with-keys, encrypted with the passphrase of the backups.
"""


def read_me(*, keys: bool) -> bytes:
    """The text, with what it says of the keys of the codes."""
    return _TEXT.format(keys=_KEYS if keys else "", no_keys="" if keys else _NO_KEYS).encode()
