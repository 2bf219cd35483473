"""The clinic for research or help: without whatever names a patient, a colleague or a place."""
