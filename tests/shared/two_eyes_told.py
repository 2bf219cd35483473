"""What must stand on the sheet of ``two_eyes``, written out by hand from its plan, its record and its clinic.

Every line that a reader of the paper or of the phone meets, part by part, in English.
"""

from __future__ import annotations

HEAD = """
Both eyes
Ibrahim Demo-Okoro
70 years old
Q-731
Right eye: operated on Monday 25 May 2026
Left eye: operated on Monday 1 June 2026
7KQ2-MX4D-9TA
Throw sheet no. LH-0038 of Monday 25 May 2026 away.
Start now: Moxifloxacin 0.5% (Left eye), Prednisolone acetate 1% (Left eye), Chloramphenicol 1% (Left eye), \
Prednisolone, tablets of 5 mg (By mouth).
Right eye, Prednisolone acetate 1%: from Monday 1 June 2026 on 3 times a day.
"""

ALARM = """
Come at once, even without pain, if:
Your sight gets worse
Pain grows
Redness grows
The eyelids swell
You see flashes of light, many new spots or a dark curtain
Pus comes from the eye
Something hits the eye
Do not wait for your next visit. Come now, or call us by day or night.
By day: +44 20 7946 0101
By night: +44 20 7946 0177
Lantern Hill Eye Clinic
Address: 4 Mill Road
Nearest eye clinic: Riverside Eye Post
"""

COME_AGAIN = """
Come again
Tuesday 2 June 2026
Left eye: First check: how the eye is healing
Bring this sheet, all bottles, your glasses and a helper.
"""

# Rows of the table: the days, or a visit with its reason and the marks of what is handed over.
ROWS = """
* Tue 2 – Fri 5 June
* Tue 2 June: First check: how the eye is healing
* Sat 6 – Mon 8 June
* Mon 8 June, at 10:30: Wound, swelling and eye pressure + new bottle: Sl + more tablets: T
* Tue 9 – Fri 12 June
* Sat 13 – Mon 15 June
* Tue 16 – Fri 19 June
* Sat 20 – Mon 22 June
* Tue 23 – Mon 29 June
Mon 6 July: Test of your sight, for glasses
01:00 (after midnight)
Start with the first bottle of the row and go on in the order shown.
Between one eye and the other you need not wait.
Ointment or gel comes last, 10 minutes after the drops.
"""

UNDER_THE_TABLE = """
Right eye, Prednisolone acetate 1%: the last day is Friday 19 June 2026.
Left eye, Prednisolone acetate 1%: the last day is Monday 29 June 2026.
Do not start yet
Left eye, Dorzolamide 2%: do not start it. The surgeon will tell you when.
Important for you
Never stop steroid tablets suddenly. Go on as the doctor who ordered them told you.
Show this sheet and tell us your allergies at every visit.
Today, before you leave
We measure the pressure in your eye. Be there between 12:20 and 16:20.
"""

# Each bottle: what its letter means, then its containers: opened, thrown away after, where the next is from.
BOTTLES = """
Nr Bromfenac 0.09%, Right eye. Against pain and swelling
1 | Tue 26 May | Mon 8 June |
Sr Prednisolone acetate 1%, Right eye. Steroid: calms the eye
Shake well
1 | Tue 26 May | Fri 19 June |
Al Moxifloxacin 0.5%, Left eye. Against infection
1 | Tue 2 June | Mon 8 June |
Sl Prednisolone acetate 1%, Left eye. Steroid: calms the eye
Shake well
1 | Tue 2 June | Sat 20 June | Mon 8 June
2 | Sun 21 June | Mon 29 June |
A2l Chloramphenicol 1%, Left eye. Against infection
1 | Tue 2 June | Mon 15 June |
T Prednisolone, tablets of 5 mg, By mouth. Steroid tablets
Ordered by Dr Example.
"""

# The later of the two eyes' days holds: the left was operated on 1 June.
BACK = """
How to put in a drop
Wash your hands. Make sure of the bottle and the eye.
Shake the bottle if this sheet says so.
Lean your head back and look up. Pull the lower eyelid down.
Let one drop fall in. The tip must touch nothing. If the drop misses the eye, put in one more.
Close the eye for 2 minutes. Or press gently beside the nose, not on the eye. Do not squeeze it shut.
Between two bottles for the same eye wait at least 5 minutes.
Stopping and missing drops
Do not stop a drop before its last day, even if the eye feels well.
Do not go on with the steroid drop after its last day.
A missed drop: put it in when you think of it.
If the next drop is due within 1 hour, do not put in the missed one. Never take a double dose.
Your bottles
Write the opening day on the bottle.
Keep bottles cool and dark, closed, away from children.
One bottle is for one person and one eye only.
If a bottle is empty, lost or dirty: come or send someone the same day. Do not stop the drops.
Until Monday 8 June 2026:
Wear the eye shield every night.
Sleep on your back or on the other side.
No water in the eye. After that day you may wash your hair with your head leaned back.
Pray sitting, without bowing down.
Until Monday 15 June 2026:
Lift nothing heavier than 5 kg.
Stay away from cooking smoke.
Until Monday 29 June 2026:
Do not rub or press the eye.
Do not swim or bathe in a river or pool.
Stay away from field work, dust and animals.
From now on:
If you fast, go on with the drops.
Do not drive until the doctor says that you may.
Go on with your other medicines: for sugar or blood pressure, blood thinners, steroid tablets, glaucoma drops.
Never
Never put herbs, honey, milk, urine or kohl in or on the eye.
Never use left-over drops, or drops for red eyes from a shop.
Do not buy steroid drops by yourself. They can harm the eye.
This is ordinary
Until about Monday 8 June 2026 the eye may feel gritty and water. You may see a red patch and glare.
Until about Thursday 4 June 2026 things may look bluish.
Your allergies
Penicillin: blisters, swelling or collapse
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


def flat(*parts: str) -> str:
    return " ".join(" ".join(parts).split())
