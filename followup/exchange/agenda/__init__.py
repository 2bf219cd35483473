"""iCalendar (RFC 5545): a patient's visits and changes of drops, and a clinic's day, for calendars.

A calendar knows an event by its UID and takes the one with the higher SEQUENCE. So a visit keeps its name
while it is the same visit, also where a new plan moved it, and one that is not to be any more is sent as
cancelled. What stands in a patient's file is what a message may say: no name, no diagnosis, no medicine.
"""
