"""What must stand on the sheet of ``two_eyes``, written out by hand from its plan, its record and its clinic.

Every line that a reader of the paper or of the phone meets, part by part, in English.
"""

from __future__ import annotations

HEAD = """
Lantern Hill Eye Clinic
By day: +44 20 7946 0101
By night: +44 20 7946 0177
Ibrahim Demo-Okoro
70 years old · Q-731
Both eyes
Right eye: operated on Monday 25 May 2026
Left eye: operated on Monday 1 June 2026
Printed on Monday 1 June 2026
You, in the mirror
Return code
7KQ2-MX4D-9TA
"""

REPLACES = "This sheet replaces sheet no. LH-0038. Throw the old one away."

ALARM = """
Come at once, even without pain, if:
Your sight gets worse
Pain grows
Redness grows
The eyelids swell
Pus comes from the eye
Something hits the eye
You see flashes of light, many new spots or a dark curtain
Do not wait for your next visit. Come now, or call us by day or night.
Address: 4 Mill Road
Nearest eye clinic: Riverside Eye Post
"""

NEWS = """
What is new
• Right eye, Prednisolone acetate 1%: from Monday 1 June 2026 on 3 times a day.
• Left eye, Moxifloxacin 0.5%: start it now.
• Left eye, Prednisolone acetate 1%: start it now.
• Left eye, Chloramphenicol 1%: start it now.
• By mouth, Prednisolone, tablets of 5 mg: start it now.
• New visit on Tuesday 2 June 2026.
• New visit on Monday 8 June 2026.
• No visit any more on Monday 15 June 2026.
"""

STAIRS = """
Right eye
3 2 1
1 June 6 June 13 June
Prednisolone acetate 1% Bromfenac 0.09%
Left eye
4 3 2 1
2 June 9 June 16 June 23 June
Prednisolone acetate 1% Moxifloxacin 0.5% Chloramphenicol 1%
The numbers are drops a day. A circle is a visit.
"""

BEFORE_THE_DROPS = """
Right eye, Prednisolone acetate 1%: the last day is Friday 19 June 2026.
Left eye, Prednisolone acetate 1%: the last day is Monday 29 June 2026.
Do not start yet
• Left eye, Dorzolamide 2%: do not start it. The surgeon will tell you when.
Important for you
• Never stop steroid tablets suddenly. Go on as the doctor who ordered them told you.
• Show this sheet and tell us your allergies at every visit.
Your allergies
• Penicillin: blisters, swelling or collapse
Today, before you leave
• We measure the pressure in your eye. Be there between 12:20 and 16:20.
"""

RULES = """
• Start with the first bottle of the row and go on in the order shown.
• Between two bottles for the same eye wait at least 5 minutes.
• Between one eye and the other you need not wait.
• Ointment or gel comes last, 10 minutes after the drops.
"""

NEXT_VISIT = """
Your next visit
Tuesday 2 June 2026
Left eye: First look after the operation. We check how the eye is healing.
Bring this sheet, all bottles, your glasses and a helper.
"""

STOPPING = """
Stopping and missing drops
• Do not stop a drop before its last day, even if the eye feels well.
• Do not go on with the steroid drop after its last day.
• A missed drop: put it in when you think of it.
• If the next drop is due within 1 hour, do not put in the missed one. Never take a double dose.
"""

SQUARES = """
For a phone: point its camera at one square
Next visit
Tuesday 2 June 2026
Call us
+44 20 7946 0101
"""

# Heading, then each time of the day with the marks due: letter and r right, l left eye, none by mouth.
ROUNDS = {
    "From Tuesday 2 June 2026 to Friday 5 June 2026": {
        "06:00": "Nr Sr Al Sl T",
        "11:00": "Al Sl",
        "14:00": "Sr",
        "17:00": "Al Sl",
        "22:00": "Nr Sr Al Sl",
        "01:00": "A2l",
    },
    "From Saturday 6 June 2026 to Monday 8 June 2026": {
        "06:00": "Nr Sr Al Sl T",
        "11:00": "Al Sl",
        "17:00": "Al Sl",
        "22:00": "Nr Sr Al Sl",
        "01:00": "A2l",
    },
    "From Tuesday 9 June 2026 to Friday 12 June 2026": {
        "06:00": "Sr Sl T",
        "14:00": "Sl",
        "22:00": "Sr Sl",
        "01:00": "A2l",
    },
    "From Saturday 13 June 2026 to Monday 15 June 2026": {
        "06:00": "Sr Sl T",
        "14:00": "Sl",
        "22:00": "Sl",
        "01:00": "A2l",
    },
    "From Tuesday 16 June 2026 to Friday 19 June 2026": {"06:00": "Sr Sl T", "22:00": "Sl"},
    "From Saturday 20 June 2026 to Monday 22 June 2026": {"06:00": "Sl T", "22:00": "Sl"},
    "From Tuesday 23 June 2026 to Monday 29 June 2026": {"06:00": "Sl T"},
}

NAMES = {
    "Nr": "N Bromfenac 0.09% Right eye",
    "Sr": "S Prednisolone acetate 1% Right eye",
    "Al": "A Moxifloxacin 0.5% Left eye",
    "Sl": "S Prednisolone acetate 1% Left eye",
    "A2l": "A2 Chloramphenicol 1% Left eye",
    "T": "T Prednisolone: 4 tablets each time By mouth",
}
KINDS = {"Nr": "drop", "Sr": "drop", "Al": "drop", "Sl": "drop", "A2l": "ointment", "T": "tablet"}

PURPOSES = {
    "Nr": "It eases pain and keeps swelling down.",
    "Sr": "Steroid drop. It calms the eye after the operation.",
    "Al": "It protects the eye from infection.",
    "Sl": "Steroid drop. It calms the eye after the operation.",
    "A2l": "It protects the eye from infection.",
    "T": "Steroid tablets.",
}

# Each medicine: what stands under its name and purpose.
BY_DATES = {
    "Nr": """
2 times a day Monday 1 June 2026 to Monday 8 June 2026
Bottle 1: throw it away after the last drop of Monday 8 June 2026.
""",
    "Sr": """
3 times a day Monday 1 June 2026 to Friday 5 June 2026
2 times a day Saturday 6 June 2026 to Friday 12 June 2026
1 time a day Saturday 13 June 2026 to Friday 19 June 2026
Shake this bottle well before every drop.
Bottle 1: throw it away after the last drop of Friday 19 June 2026.
""",
    "Al": """
4 times a day Tuesday 2 June 2026 to Monday 8 June 2026
Bottle 1: open it on Tuesday 2 June 2026. Throw it away after the last drop of Monday 8 June 2026.
""",
    "Sl": """
4 times a day Tuesday 2 June 2026 to Monday 8 June 2026
3 times a day Tuesday 9 June 2026 to Monday 15 June 2026
2 times a day Tuesday 16 June 2026 to Monday 22 June 2026
1 time a day Tuesday 23 June 2026 to Monday 29 June 2026
Shake this bottle well before every drop.
Bottle 1: open it on Tuesday 2 June 2026. Throw it away after the last drop of Saturday 20 June 2026.
Bottle 2: open it on Sunday 21 June 2026. Throw it away after the last drop of Monday 29 June 2026.
You get bottle 2 at your visit on Monday 8 June 2026.
""",
    "A2l": """
1 time a day Tuesday 2 June 2026 to Monday 15 June 2026
Bottle 1: open it on Tuesday 2 June 2026. Throw it away after the last drop of Monday 15 June 2026.
""",
    "T": """
4 tablets, 1 time a day (20 mg in all) Tuesday 2 June 2026 to Monday 29 June 2026
Ordered by Dr Example.
Never stop steroid tablets suddenly.
At your visit on Monday 8 June 2026 you get: 84 tablets.
""",
}

VISITS = """
All your visits
Tuesday 2 June 2026
Left eye: First look after the operation. We check how the eye is healing.
Monday 8 June 2026, at 10:30
Left eye: We look at the wound, the swelling and the pressure in the eye.
Right eye: We measure the pressure in the eye. The steroid drop can raise it, and you cannot feel it.
Left eye: you get a new bottle of Prednisolone acetate 1%.
You get more Prednisolone, tablets of 5 mg.
Monday 6 July 2026
Left eye: We measure your sight and test for glasses.
Right eye: We measure your sight and test for glasses.
"""

HOW_TO = """
How to put in a drop
1. Wash your hands. Make sure of the bottle and the eye.
2. Shake the bottle if this sheet says so.
3. Lean your head back and look up. Pull the lower eyelid down.
4. Let one drop fall in. The tip must touch nothing.
5. If the drop misses the eye, put in one more.
6. Close the eye for 2 minutes. Or press gently beside the nose, not on the eye. Do not squeeze it shut.
7. Close the bottle.
"""

CARE = """
Your bottles
• Write the opening day on the bottle.
• Keep bottles cool and dark, closed, away from children.
• One bottle is for one person and one eye only.
• If a bottle is empty, lost or dirty: come or send someone the same day. Do not stop the drops.
"""

# The later of the two eyes' days holds: the left was operated on 1 June.
HOME = """
At home
• Do not rub or press the eye until Monday 29 June 2026.
• Wear the eye shield every night, until Monday 8 June 2026.
• Sleep on your back or on the other side, until Monday 8 June 2026.
• No water in the eye until Monday 8 June 2026. After that you may wash your hair with your head leaned back.
• Do not swim or bathe in a river or pool until Monday 29 June 2026.
• Pray sitting, without bowing down, until Monday 8 June 2026.
• If you fast, go on with the drops.
• Stay away from field work, dust and animals until Monday 29 June 2026.
• Lift nothing heavier than 5 kg until Monday 15 June 2026.
• Stay away from cooking smoke until Monday 15 June 2026.
• Do not drive until the doctor says that you may.
• Go on with your other medicines: for sugar or blood pressure, blood thinners, steroid tablets,
glaucoma drops.
"""

# The eight that are drawn, then what has no drawing.
HOME_IN_PICTURES = """
At home
Do not rub or press the eye until Monday 29 June 2026.
Wear the eye shield every night, until Monday 8 June 2026.
Sleep on your back or on the other side, until Monday 8 June 2026.
No water in the eye until Monday 8 June 2026. After that you may wash your hair with your head leaned back.
Do not swim or bathe in a river or pool until Monday 29 June 2026.
Pray sitting, without bowing down, until Monday 8 June 2026.
Stay away from field work, dust and animals until Monday 29 June 2026.
Lift nothing heavier than 5 kg until Monday 15 June 2026.
• Go on with your other medicines: for sugar or blood pressure, blood thinners, steroid tablets,
glaucoma drops.
"""

NEVER = """
Never
• Never put herbs, honey, milk, urine or kohl in or on the eye.
• Never use left-over drops, or drops for red eyes from a shop.
• Do not buy steroid drops by yourself. They can harm the eye.
"""

ORDINARY = """
This is ordinary
• Until about Monday 8 June 2026 the eye may feel gritty and water. You may see a red patch and glare.
• Until about Thursday 4 June 2026 things may look bluish.
"""

FOOT = ("Sheet no. LH-0042", "Protocol: Sample protocol 1", "Signed by Dr Noor Example")

# First day and last day of a run, the boxes of each of these days: its time, then the eye's own marks.
TICKS = [
    (2, 5, "06:00 r N S l A S T | 11:00 l A S | 14:00 r S | 17:00 l A S | 22:00 r N S l A S | 01:00 l A2"),
    (6, 8, "06:00 r N S l A S T | 11:00 l A S | 17:00 l A S | 22:00 r N S l A S | 01:00 l A2"),
    (9, 12, "06:00 r S l S T | 14:00 l S | 22:00 r S l S | 01:00 l A2"),
    (13, 15, "06:00 r S l S T | 14:00 l S | 22:00 l S | 01:00 l A2"),
    (16, 19, "06:00 r S l S T | 22:00 l S"),
    (20, 22, "06:00 l S T | 22:00 l S"),
    (23, 29, "06:00 l S T"),
]

# What happens on a day, and nothing on any other.
EVENTS = {
    "2 June": """
Visit at the clinic.
Left eye, Moxifloxacin 0.5%: start, 4 times a day.
Left eye, Prednisolone acetate 1%: start, 4 times a day.
Left eye, Chloramphenicol 1%: start, 1 time a day.
By mouth, Prednisolone, tablets of 5 mg: start, 4 tablets, 1 time a day (20 mg in all).
Open bottle 1: Left eye, Prednisolone acetate 1%.
Open bottle 1: Left eye, Moxifloxacin 0.5%.
Open bottle 1: Left eye, Chloramphenicol 1%.
""",
    "6 June": "Right eye, Prednisolone acetate 1%: from today 2 times a day.",
    "8 June": """
Visit at the clinic.
Right eye, Bromfenac 0.09%: today is the last day.
Left eye, Moxifloxacin 0.5%: today is the last day.
After the last drop of this day throw away bottle 1: Right eye, Bromfenac 0.09%.
After the last drop of this day throw away bottle 1: Left eye, Moxifloxacin 0.5%.
""",
    "9 June": "Left eye, Prednisolone acetate 1%: from today 3 times a day.",
    "13 June": "Right eye, Prednisolone acetate 1%: from today 1 time a day.",
    "15 June": """
Left eye, Chloramphenicol 1%: today is the last day.
After the last drop of this day throw away bottle 1: Left eye, Chloramphenicol 1%.
""",
    "16 June": "Left eye, Prednisolone acetate 1%: from today 2 times a day.",
    "19 June": """
Right eye, Prednisolone acetate 1%: today is the last day.
After the last drop of this day throw away bottle 1: Right eye, Prednisolone acetate 1%.
""",
    "20 June": "After the last drop of this day throw away bottle 1: Left eye, Prednisolone acetate 1%.",
    "21 June": "Open bottle 2: Left eye, Prednisolone acetate 1%.",
    "23 June": "Left eye, Prednisolone acetate 1%: from today 1 time a day.",
    "29 June": """
Left eye, Prednisolone acetate 1%: today is the last day.
By mouth, Prednisolone, tablets of 5 mg: today is the last day.
After the last drop of this day throw away bottle 2: Left eye, Prednisolone acetate 1%.
""",
    "6 July": "Visit at the clinic.",
}
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def flat(*parts: str) -> str:
    return " ".join(" ".join(parts).split())
