"""The clinic's calendar: which day offers which service, and how much room is left."""
