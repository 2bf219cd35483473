"""The record's own words for answers, in the words of the staff.

The record stores the key; pages show the sentence. A test finds any answer that is missing here.
"""

from __future__ import annotations

from followup.clinical.statuses import TRIP_WORDS
from followup.language.catalogues import N_

_FULLER = {
    "own": N_("the patient's own"),
    "carer": N_("a carer's"),
    "neighbour": N_("a neighbour"),
    "self": N_("the patient"),
    "relative": N_("a relative"),
    "health worker": N_("a health worker"),
    "helper": N_("a helper comes"),
    "aid": N_("an aid for the bottle"),
    "stay": N_("stays at the clinic"),
    "medicine": N_("a medicine by name"),
    "severe": N_("severe: blisters, swelling or collapse"),
    "wheeze": N_("wheeze or tight chest"),
    "HLA-B27": N_("HLA-B27 uveitis"),
    "Behcet": N_("Behçet's disease"),
    "sarcoid": N_("sarcoidosis"),
    "herpetic": N_("herpetic (herpes simplex, zoster)"),
    "bag": N_("the capsular bag"),
    "iris": N_("fixed to the iris"),
    "sclera": N_("fixed to the sclera"),
    "into the vitreous": N_("into the vitreous"),
    "into a vein": N_("into a vein"),
    "by mouth": N_("by mouth"),
    "sulcus": N_("the sulcus"),
    "front chamber": N_("the anterior chamber"),
    "chamber": N_("the anterior chamber"),
    "vitreous": N_("the vitreous"),
    "hooks": N_("iris hooks"),
    "ring": N_("expansion ring"),
    "surgery": N_("surgery"),
    "laser": N_("laser"),
    "treat": N_("treat"),
    "prevent": N_("prevent"),
    "show vitreous": N_("see the vitreous"),
    "left": N_("left"),
    "A": N_("A: strong, then weaker"),
    "B": N_("B: strong and short, longer NSAID"),
    "nsaid": N_("NSAID"),
    "eye": N_("in the eye"),
    "mouth": N_("by mouth"),
    "fulfilled": TRIP_WORDS["fulfilled"],
    "noshow": TRIP_WORDS["noshow"],
}
_PLAIN = (
    *(N_("female"), N_("male"), N_("other"), N_("nobody"), N_("not known"), N_("no"), N_("yes")),
    *(N_("sulfonamide"), N_("sulphite"), N_("benzalkonium"), N_("aspirin"), N_("rash")),
    *(N_("penicillin"), N_("cephalosporin"), N_("quinolone"), N_("given")),
    *(N_("without retinopathy"), N_("with retinopathy"), N_("retinopathy not known")),
    *(N_("ritonavir or cobicistat"), N_("other strong inhibitor")),
    *(N_("first trimester"), N_("second trimester"), N_("third trimester")),
    *(N_("anterior"), N_("intermediate"), N_("posterior"), N_("panuveitis"), N_("Fuchs heterochromic")),
    *(N_("juvenile idiopathic arthritis"), N_("toxoplasma"), N_("tuberculous"), N_("syphilitic")),
    *(N_("lens-induced"), N_("glaucoma surgery"), N_("corneal graft"), N_("retinal vitrectomy")),
    *(N_("normal"), N_("reduced"), N_("absent"), N_("none"), N_("mild"), N_("severe dry eye")),
    *(N_("right"), N_("both"), N_("drops"), N_("sub-Tenon"), N_("peribulbar"), N_("retrobulbar")),
    *(N_("general"), N_("phacoemulsification"), N_("manual small-incision"), N_("extracapsular")),
    *(N_("intracapsular"), N_("lens aspiration"), N_("secondary lens"), N_("lens exchange")),
    *(
        N_("shallow"),
        N_("very shallow"),
        N_("open"),
        N_("not open"),
        N_("stretched"),
    ),
    *(N_("all"), N_("doubtful"), N_("air"), N_("gas"), N_("behind the iris"), N_("under the conjunctiva")),
    *(N_("canaliculus"), N_("solution"), N_("crystals"), N_("slow-release"), N_("washed out")),
    *(N_("taper"), N_("no drops"), N_("drops as drafted"), N_("give"), N_("do not give")),
    *(N_("steroid"), N_("antibiotic"), N_("cycloplegic"), N_("antiviral"), N_("pressure")),
    *(
        N_("as told"),
        N_("missed some"),
        N_("stopped"),
        N_("run out"),
        N_("lost"),
        N_("not asked"),
        N_("good"),
    ),
    *(N_("needs help"), N_("not seen"), N_("0"), N_("0.5+"), N_("1+"), N_("2+"), N_("3+"), N_("4+")),
    *(N_("deep"), N_("flat"), N_("slow"), N_("fast"), N_("clear"), N_("central haze"), N_("whole oedema")),
    *(N_("cells only"), N_("level"), N_("centred"), N_("off centre"), N_("dry"), N_("oedema"), N_("tear")),
    *(N_("detached"), N_("booked"), N_("arrived"), N_("cancelled")),
)
# Words that mean something else in one field than everywhere else.
_IN_FIELD = {
    ("SteroidGiven.fate", "left"): N_("left inside the eye"),
    ("Findings.retina", "flat"): N_("attached"),
}
# What is typed where a number may stand, and what a medicine is for: no answers to choose from.
_BESIDE = (N_("not done"), N_("lubricant"), N_("salt"), N_("steroid tablet"))
CHOICES: dict[str, str] = {word: word for word in _PLAIN} | _FULLER


def choice_words(word: str, of: str = "") -> str:
    """The words for an answer, to be translated; an answer newer than this table shows itself.

    ``of``: the field that is answered, where one is.
    """
    return _IN_FIELD.get((of, word)) or CHOICES.get(word, word)
