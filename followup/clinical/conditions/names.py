"""The closed vocabulary of conditions: what a caution or a contraindication may ask of a record."""

from __future__ import annotations

from typing import Literal, TypeAlias

ConditionName: TypeAlias = Literal[
    # the person
    "asthma",
    "severe_airway_disease",
    "nasal_polyps",
    "slow_heart",
    "heart_block",
    "heart_failure",
    "mao_inhibitor",
    "kidney_disease",
    "liver_disease",
    "sickle_cell",
    "blood_thinner",
    "rheumatoid",
    "sjogren",
    "tuberculosis",
    "urine_retention",
    "breast_feeding",
    "diabetes",
    "pregnant",
    "first_two_trimesters",
    "third_trimester",
    "ritonavir_or_cobicistat",
    "other_strong_inhibitor",
    # allergies
    "allergy_to_this_medicine",
    "sulfonamide_severe",
    "sulfonamide_rash",
    "sulfonamide_reaction_unknown",
    "sulphite_severe",
    "sulphite_other",
    "sulfur_word_defined",
    "sulfur_word_in_text",
    "medicine_named_in_text",
    "benzalkonium_allergy",
    "aspirin_wheeze",
    "aspirin_other",
    "aspirin_tolerated",
    # the eye
    "uveitis",
    "herpes",
    "herpes_active",
    "vein_occlusion",
    "macular_oedema",
    "steroid_responder",
    "weak_endothelium",
    "numb_cornea",
    "severe_dry_eye",
    "torn_capsule",
    "angle_at_risk",
    "bandage_lens",
    "corneal_defect",
    "failing_cornea",
    "inflamed_now",
    # the course
    "four_a_day_over_14_days",
    "past_label_days",
]
