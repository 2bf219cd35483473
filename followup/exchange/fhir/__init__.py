"""FHIR R4 (4.0.1): a patient's operation, plan and looks as a bundle, and a bundle as a draft record.

Out: views in, JSON-ready values out (:func:`followup.exchange.fhir.bundle.bundle_of`). The words of the
standard for a plan and a visit (``CarePlan.status``, ``Appointment.status``) are ours already; what has no
code that we are sure of is told in words alone, and codes lie in ``codes.toml`` with where they were seen.
"""
