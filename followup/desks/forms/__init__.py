"""The record as a form: every field of the operative record, told in the order of the operation."""
