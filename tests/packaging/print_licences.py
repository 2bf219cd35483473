"""Print name, version and licence of each library that the program runs on, as installed here."""

from __future__ import annotations

import sys

from installed import asked_for, brought_along, licence_words

if __name__ == "__main__":
    for name, version in sorted(brought_along(asked_for()).items()):
        sys.stdout.write(f"{name} {version}: {licence_words(name) or 'says nothing'}\n")
