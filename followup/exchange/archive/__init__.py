"""The whole clinic as an open archive: a ZIP of JSON Lines that others can read without this program."""
