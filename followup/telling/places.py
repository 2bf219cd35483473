"""Where a field that was told stands in the record and in its form."""

from __future__ import annotations

from followup.clinical.record.base import Eye
from followup.clinical.record.eye import OTHER


def form_name(field: str, eye: Eye, operation: int = 0) -> str:
    """The form's name of a field: "operations.0.cut_mm", "patient.eyes.left.glaucoma"."""
    root, _, rest = field.partition(".")
    heads = {
        "operation": f"operations.{operation}",
        "eye": f"patient.eyes.{eye}",
        "other_eye": f"patient.eyes.{OTHER[eye]}",
    }
    return f"{heads.get(root, root)}.{rest}"
