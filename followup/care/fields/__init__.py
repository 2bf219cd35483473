"""The record's fields: their shape, their names, and what is wrong with one."""
