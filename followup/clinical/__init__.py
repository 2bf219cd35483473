"""The pure heart: from an operative record to a care plan. No clock, database, locale or web."""
