"""Post-operative follow-up: drop tapers, review visits, instruction sheets, recall."""

__version__ = "0.1.0"
