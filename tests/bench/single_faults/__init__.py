"""Single faults: small changes to the program, made by rule, that a test has to notice.

Makers (``maker_*.py``) make them from the program's own text, ``judges.toml`` says which tests judge a file,
``forked`` runs them, ``survivors`` knows those that no test can notice.
"""
