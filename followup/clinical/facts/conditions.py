"""Conditions: named questions to a record, answered yes, no or not recorded, with the fields read.

The vocabulary is closed (:data:`ConditionName`): data files may use these names and no other.
"""

from __future__ import annotations

from collections.abc import Mapping

from followup.clinical.facts import allergy
from followup.clinical.facts import of_course as course
from followup.clinical.facts import of_eye as eye
from followup.clinical.facts import of_person as person
from followup.clinical.facts.answer import Answer, Condition, OnePerson, all_of, any_of
from followup.clinical.protocol.conditions import ConditionName

__all__ = ["CONDITIONS", "Answer", "Condition", "OnePerson", "all_of", "any_of"]

_PERSON: Mapping[ConditionName, Condition] = {
    "asthma": person.stated("asthma"),
    "severe_airway_disease": person.stated("severe_airway_disease"),
    "nasal_polyps": person.stated("nasal_polyps"),
    "slow_heart": person.stated("slow_heart"),
    "heart_block": person.stated("heart_block"),
    "heart_failure": person.stated("heart_failure"),
    "mao_inhibitor": person.stated_or_taken("mao_inhibitor"),
    "kidney_disease": person.stated("kidney_disease"),
    "liver_disease": person.stated("liver_disease"),
    "sickle_cell": person.stated("sickle_cell"),
    "blood_thinner": person.stated_or_taken("blood_thinner"),
    "rheumatoid": person.stated("rheumatoid"),
    "sjogren": person.stated("sjogren"),
    "tuberculosis": person.stated("tuberculosis"),
    "urine_retention": person.stated("urine_retention"),
    "breast_feeding": person.stated("breast_feeding"),
    "aspirin_tolerated": person.stated("tolerates_aspirin"),
    "diabetes": person.diabetes,
    "pregnant": person.pregnant,
    "first_two_trimesters": person.trimester("first trimester", "second trimester"),
    "third_trimester": person.trimester("third trimester"),
    "ritonavir_or_cobicistat": person.inhibitor("ritonavir or cobicistat"),
    "other_strong_inhibitor": person.inhibitor("other strong inhibitor"),
}

_ALLERGY: Mapping[ConditionName, Condition] = {
    "allergy_to_this_medicine": allergy.to_this_medicine,
    "sulfonamide_severe": allergy.allergy("sulfonamide", "severe", "wheeze"),
    "sulfonamide_rash": allergy.allergy("sulfonamide", "rash", "other"),
    "sulfonamide_reaction_unknown": allergy.allergy("sulfonamide", "not known"),
    "sulphite_severe": allergy.allergy("sulphite", "severe", "wheeze"),
    "sulphite_other": allergy.allergy("sulphite", "rash", "other", "not known"),
    "sulfur_word_defined": allergy.sulfur_word_defined,
    "sulfur_word_in_text": allergy.sulfur_word_in_text,
    "medicine_named_severe": allergy.named_severe,
    "medicine_named_in_text": allergy.named_otherwise,
    "same_class_severe": allergy.same_class_severe,
    "same_class_mild": allergy.same_class_mild,
    "same_class_unknown": allergy.same_class_unknown,
    "penicillin_severe": allergy.allergy("penicillin", "severe", "wheeze"),
    "penicillin_mild": allergy.allergy("penicillin", "rash", "other"),
    "penicillin_unknown": allergy.allergy("penicillin", "not known"),
    "benzalkonium_allergy": allergy.allergy("benzalkonium"),
    "aspirin_wheeze": allergy.aspirin_wheeze,
    "aspirin_other": allergy.aspirin_other,
}

_EYE: Mapping[ConditionName, Condition] = {
    # Written down only where there is something: silence is "no".
    "uveitis": eye.history("uveitis", lambda said: True, silence=False),
    "herpes": eye.herpes,
    "herpes_active": eye.herpes_active,
    "vein_occlusion": eye.history("vein_occlusion", bool),
    "macular_oedema": eye.macular_oedema,
    "steroid_responder": eye.steroid_responder,
    "weak_endothelium": eye.history("weak_endothelium", bool),
    "numb_cornea": eye.history("corneal_feeling", lambda said: said != "normal"),
    "severe_dry_eye": eye.history("surface_disease", lambda said: said == "severe dry eye"),
    "torn_capsule": eye.at_surgery("capsule_torn"),
    "angle_at_risk": eye.angle_at_risk,
    "bandage_lens": eye.at_surgery("bandage_lens", latest=True),
    "corneal_defect": eye.at_surgery_or_look("epithelium_scraped", "epithelial_defect", ("yes",)),
    "failing_cornea": eye.at_look("cornea", ("whole oedema",)),
    "inflamed_now": eye.at_look("cells", ("1+", "2+", "3+", "4+")),
}

_COURSE: Mapping[ConditionName, Condition] = {
    "past_label_days": course.past_label_days,
}

CONDITIONS: Mapping[ConditionName, Condition] = {**_PERSON, **_ALLERGY, **_EYE, **_COURSE}
"""Every condition of the vocabulary by name."""
