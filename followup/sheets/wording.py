"""The sentences that plan ids stand for, in plain English; every language's catalogue translates them.

Keys are ids of the plan and the protocol's data, values are marked for extraction. Written for a
reader who may be old, worried and unused to reading: short words, one thing a sentence.
"""

from __future__ import annotations

from followup.language.catalogues import N_

EYES = {
    # Translators: names of the patient's own eyes, never "the eye on the left of the picture".
    "left": N_("Left eye"),
    "right": N_("Right eye"),
}

# Translators: what a mark in the table of times means, read out to someone who can't see it.
DUE = {
    "drop": N_("1 drop: %(medicine)s, %(eye)s"),
    "ointment": N_("Ointment: %(medicine)s, %(eye)s"),
    "tablet": N_("Tablets: %(medicine)s"),
}

# Translators: what a medicine is for, under its name.
PURPOSES = {
    "steroid": N_("Steroid drop. It calms the eye after the operation."),
    "nsaid": N_("It eases pain and keeps swelling down."),
    "antibiotic": N_("It protects the eye from infection."),
    "cycloplegic": N_("It rests the eye. It makes the pupil wide, so you see less well close up."),
    "pressure": N_("It lowers the pressure in the eye."),
    "lubricant": N_("It keeps the eye moist."),
    "salt": N_("It helps the front of the eye to clear."),
    "antiviral": N_("It keeps an old virus in the eye asleep."),
    "steroid tablet": N_("Steroid tablets."),
    "other": N_("Use it as the doctor told you."),
}

# Translators: reasons to come back at once. The same words stand on every sheet.
SIGNS = {
    "sight": N_("Your sight gets worse"),
    "pain": N_("Pain grows"),
    "red": N_("Redness grows"),
    "lids": N_("The eyelids swell"),
    "flashes": N_("You see flashes of light, many new spots or a dark curtain"),
    "pus": N_("Pus comes from the eye"),
    "knock": N_("Something hits the eye"),
}

# Translators: why a visit is needed; one sentence each, spoken by the clinic ("we").
REASONS = {
    "first-look": N_("First look after the operation. We check how the eye is healing."),
    "wound": N_("We look at the wound, the swelling and the pressure in the eye."),
    "leak": N_("We make sure that the wound is closed."),
    "chamber": N_("We look at the front of the eye and measure the pressure."),
    "pressure": N_(
        "We measure the pressure in the eye. The steroid drop can raise it, and you cannot feel it."
    ),
    "pressure-alone": N_("We measure the pressure in the eye. You cannot feel it."),
    "inflammation": N_("We see whether the inflammation in the eye has calmed down."),
    "macula": N_("We look for swelling at the back of the eye."),
    "retina": N_("We widen the pupil and look at the back of the eye. Do not drive that day."),
    "stitches": N_("We look at the stitches. Some may be taken out."),
    "refraction": N_("We measure your sight and test for glasses."),
    "taper-end": N_("When the steroid drops are finished, we make sure that the eye stays calm."),
    "calm": N_("We make sure that the eye stays calm."),
    "rebound": N_("We make sure that the inflammation has not come back."),
    "depot": N_("We see how the medicine inside the eye works, and measure the pressure."),
    "cornea-stain": N_("We look at the clear front of the eye with a dye."),
    "cornea": N_("We look whether the clear front of the eye has cleared."),
    "lens-position": N_("We look at the new lens and how it sits."),
    "lens-piece": N_("We look whether a small piece of the old lens has gone."),
    "iridotomy": N_("We make sure that the small opening in the iris is open."),
    "second-operation": N_("We plan the second operation with you."),
    "retina-surgeon": N_("A doctor for the back of the eye sees you."),
    "bandage-lens": N_("The doctor takes out the bandage lens. Never take it out yourself."),
    "surgeon": N_("The surgeon sees the eye."),
    "other": N_("The doctor looks at your eye."),
}

# Translators: checks in the hours after the operation, before the patient goes home.
BEFORE_LEAVING = {
    "pressure": N_("Before you go home today we measure the pressure in your eye."),
    "other": N_("Before you go home today the doctor looks at your eye once more."),
}

# Translators: what the patient is told beyond the drops, by the ids of the protocol's ``aftercare.toml``.
# %(until)s is the last day of the rule, in words.
ADVICE = {
    "pad": N_("The pad stays on until the morning of %(until)s. Then it comes off and the drops begin."),
    "pad-alone": N_("The pad stays on until the morning of %(until)s. Then it comes off."),
    "steroid-tablets": N_(
        "Never stop steroid tablets suddenly. Go on as the doctor who ordered them told you."
    ),
    "only-eye": N_(
        "This is the eye you see with. Let someone help you with every drop and on every journey."
    ),
    "helper": N_("Someone must put in the drops for you. Tell us at once if nobody can."),
    "helper-today": N_("Do not go home today before we know who puts in your drops."),
    "squeeze": N_("If you cannot squeeze the bottle, ask us for an aid or a helper."),
    "herpes": N_("If the eye turns red or hurts, come the same day. The old virus can wake up."),
    "blood-thinner": N_("Go on with your blood thinner. Do not stop it for the eye."),
    "wide-pupil": N_("One of your drops makes the pupil wide. Do not drive while you use it."),
    "allergy": N_("Show this sheet and tell us your allergies at every visit."),
    "sulphite": N_(
        "If you get short of breath, a rash or a swollen face after a drop, stop it and come at once."
    ),
    "pregnancy": N_("Tell us at once if you are pregnant or may be."),
    "clear-shield": N_(
        "Use the clear shield that you can see through. Never put a pad on this eye yourself."
    ),
    "no-drops-rescue": N_(
        "You need no steroid drops now. If the clinic tells you to start them, start the same day."
    ),
    "stay-the-night": N_("Stay near the clinic tonight. The pressure in the eye can rise."),
    "angle": N_("The pressure in the eye can rise. Strong pain with sickness means: come at once."),
    "rub": N_("Do not rub or press the eye until %(until)s."),
    "shield": N_("Wear the eye shield every night, until %(until)s."),
    "sleep": N_("Sleep on your back or on the other side, until %(until)s."),
    "water": N_(
        "No water in the eye until %(until)s. After that you may wash your hair with your head leaned back."
    ),
    "swim": N_("Do not swim or bathe in a river or pool until %(until)s."),
    "pray": N_("Pray sitting, without bowing down, until %(until)s."),
    "fast": N_("If you fast, go on with the drops."),
    "field": N_("Stay away from field work, dust and animals until %(until)s."),
    "lift": N_("Lift nothing heavier than 5 kg until %(until)s."),
    "smoke": N_("Stay away from cooking smoke until %(until)s."),
    "drive": N_("Do not drive until the doctor says that you may."),
    "no-flying": N_("There is a gas bubble in your eye. Do not fly until the doctor says that you may."),
    "bandage-lens": N_("There is a soft bandage lens on your eye. Leave it in. If it falls out, come to us."),
    "other-medicines": N_(
        "Go on with your other medicines: for sugar or blood pressure, blood thinners, steroid tablets, "
        "glaucoma drops."
    ),
    "gritty": N_(
        "Until about %(until)s the eye may feel gritty and water. You may see a red patch and glare."
    ),
    "bluish": N_("Until about %(until)s things may look bluish."),
    "glasses": N_("Wear a hat or dark glasses outside."),
    "bus": N_("You may travel by bus. Carry the drops on you."),
    "eat": N_("You may eat everything."),
    "sex": N_("You may have sex again after %(until)s."),
}

# Translators: what must never go into or onto the eye.
NEVER = (
    N_("Never put herbs, honey, milk, urine or kohl in or on the eye."),
    N_("Never use left-over drops, or drops for red eyes from a shop."),
    N_("Do not buy steroid drops by yourself. They can harm the eye."),
)

# Translators: what somebody is allergic to, in a list of a patient's allergies.
ALLERGIES = {
    "sulfonamide": N_("Sulfonamides"),
    "sulphite": N_("Sulphite"),
    "benzalkonium": N_("Benzalkonium, which keeps drops fresh"),
    "aspirin": N_("Aspirin or other pain tablets"),
    "penicillin": N_("Penicillin"),
    "cephalosporin": N_("Cephalosporins"),
    "quinolone": N_("Quinolones"),
}

# Translators: what an allergy did, behind its name in a list.
REACTIONS = {
    "rash": N_("%(allergy)s: a rash"),
    "severe": N_("%(allergy)s: blisters, swelling or collapse"),
    "wheeze": N_("%(allergy)s: wheezing"),
    "not known": N_("%(allergy)s: we do not know what it did"),
}

# Translators: how to keep a bottle.
BOTTLE_CARE = (
    N_("Write the opening day on the bottle."),
    N_("Keep bottles cool and dark, closed, away from children."),
    N_("One bottle is for one person and one eye only."),
)
# Translators: how to keep a bottle that is in use.
BOTTLE_GONE = N_(
    "If a bottle is empty, lost or dirty: come or send someone the same day. Do not stop the drops."
)
