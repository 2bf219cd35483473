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

# Translators: what a medicine is for, in a few words beside its name. At most 40 letters.
PURPOSES = {
    "steroid": N_("Steroid: calms the eye"),
    "nsaid": N_("Against pain and swelling"),
    "antibiotic": N_("Against infection"),
    "cycloplegic": N_("Rests the eye, makes the pupil wide"),
    "pressure": N_("Lowers the pressure in the eye"),
    "lubricant": N_("Keeps the eye moist"),
    "salt": N_("Clears the front of the eye"),
    "antiviral": N_("Against an old virus in the eye"),
    "steroid tablet": N_("Steroid tablets"),
    "other": N_("As the doctor told you"),
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

# Translators: why a visit is needed, in a few words: at most 40 letters, for a narrow row of a table.
REASONS = {
    "first-look": N_("First check: how the eye is healing"),
    "wound": N_("Wound, swelling and eye pressure"),
    "leak": N_("Is the wound closed?"),
    "chamber": N_("Front of the eye, and eye pressure"),
    "pressure": N_("Eye pressure: the steroid can raise it"),
    "pressure-alone": N_("Eye pressure: you cannot feel it"),
    "inflammation": N_("Has the inflammation calmed down?"),
    "macula": N_("Swelling at the back of the eye?"),
    "retina": N_("Back of the eye. Do not drive that day."),
    "stitches": N_("Stitches: some may be taken out"),
    "refraction": N_("Test of your sight, for glasses"),
    "taper-end": N_("After the steroid: is the eye calm?"),
    "calm": N_("Does the eye stay calm?"),
    "rebound": N_("Has the inflammation come back?"),
    "depot": N_("Medicine in the eye, and eye pressure"),
    "cornea-stain": N_("Front of the eye, seen with a dye"),
    "cornea": N_("Has the front of the eye cleared?"),
    "lens-position": N_("How the new lens sits"),
    "lens-piece": N_("Is the piece of the old lens gone?"),
    "iridotomy": N_("Is the opening in the iris open?"),
    "second-operation": N_("Planning the second operation"),
    "retina-surgeon": N_("A doctor for the back of the eye"),
    "bandage-lens": N_("The doctor takes out the bandage lens"),
    "surgeon": N_("The surgeon sees the eye"),
    "other": N_("The doctor looks at your eye"),
}

# Translators: checks in the hours after the operation, under the heading "Today, before you leave".
BEFORE_LEAVING = {
    "pressure": N_("We measure the pressure in your eye."),
    "other": N_("The doctor looks at your eye once more."),
}

# Translators: what the patient is told beyond the drops, by the ids of the protocol's ``aftercare.toml``.
# %(until)s is the last day of the rule, in words; sentences without it stand in a list under "Until" and
# that day.
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
    "rub": N_("Do not rub or press the eye."),
    "shield": N_("Wear the eye shield every night."),
    "sleep": N_("Sleep on your back or on the other side."),
    "water": N_("No water in the eye. After that day you may wash your hair with your head leaned back."),
    "swim": N_("Do not swim or bathe in a river or pool."),
    "pray": N_("Pray sitting, without bowing down."),
    "fast": N_("If you fast, go on with the drops."),
    "field": N_("Stay away from field work, dust and animals."),
    "lift": N_("Lift nothing heavier than 5 kg."),
    "smoke": N_("Stay away from cooking smoke."),
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

# Their last day in the data is the last on which they can matter; a doctor's word ends them before.
DOCTOR_ENDS = ("no-flying",)

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

# Translators: the first column of the table of drops: the row of days that holds today.
NOW = N_("Now")
# Translators: heading of the box that says when the patient comes again.
COME_AGAIN = N_("Come again")
# Translators: first line of a sheet that takes the place of another; its number, and the day it was printed.
THROW_AWAY = N_("Throw sheet no. %(number)s of %(day)s away.")
# Translators: over the table of drops: a thick black line at the edge of a row marks what is new.
NEW_ROWS = N_("Rows with a black bar at the edge are new.")
# Translators: medicines, each with its eye, that the patient stops or begins from this sheet on.
STOPPED = N_("Do not use any more: %(bottles)s.")
STARTED = N_("Start now: %(bottles)s.")
# Translators: on the front of the sheet, where its text goes on on the other side.
TURN_OVER = N_("Turn over: more on the other side.")
# Translators: in a visit's row of the table, before the letters of the bottles that the patient gets then.
NEW_BOTTLE = N_("new bottle:")
# Translators: in a visit's row of the table: single doses of eye drops that the patient gets then.
MORE_DOSES = N_("more single doses:")
# Translators: in a visit's row of the table: tablets that the patient gets then.
MORE_TABLETS = N_("more tablets:")
# Translators: on the copy of a sheet that the staff read, in the staff's language.
STAFF_COPY = N_("Copy for the staff")
# Translators: heading over rules that hold up to and including that day.
UNTIL = N_("Until %(day)s:")
# Translators: heading over rules of everyday life that have no last day yet.
ALWAYS = N_("From now on:")
# Translators: heads of the table of bottles. Under the third stands the bottle's last day: after its last
# drop of that day it is thrown away. Under the fourth: the day of the visit at which the next is handed over.
BOTTLE_HEADS = (
    N_("Bottle"),
    N_("Opened on"),
    N_("Throw away after"),
    N_("The next one"),
)
# Translators: in the table of bottles: before every drop this bottle is shaken well.
SHAKE = N_("Shake well")
# Translators: in the table of bottles, where the next bottle is not handed over at a visit.
GET_IN_TIME = N_("ask us in good time")
# Translators: in the table of drops: how much is taken by mouth at one time, then its amount in milligrams.
TABLETS_MG = N_("%(tablets)s (%(mg)s mg)")
# Translators: in the table of drops: how much, then the times of day.
AMOUNT_TIMES = N_("%(amount)s: %(times)s")
# Translators: on the page for a telephone: heading of the drops that still come today.
TODAY = N_("Today")
