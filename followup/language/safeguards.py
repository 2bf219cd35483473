"""Words that a translation must not lose, and abbreviations that no sheet may carry.

Stems, so that endings may change. Compared without regard to case.
"""

from __future__ import annotations

import re

# After the list of error-prone abbreviations of the Institute for Safe Medication Practices and
# the Joint Commission's "do not use" list: eyes, ears, times and units written short, a trailing
# nought, a naked point. Upper-case ones only in that case: "os" and "as" are everyday words in
# some languages.
_UPPER = r"(?<!\w)(?:OD|OS|OU|AD|AS|AU|HS|BT|D/C|IU|U|QD|QOD|SC|SQ)(?!\w)"
_ANY_CASE = (
    r"(?i:(?<!\w)(?:o\.\s?d\.|q\.\s?d\.?|qd|q\.\s?o\.\s?d\.?|qod|qhs|q\.\s?h\.\s?s\.?"
    r"|per os|[µμ]g|\d+\s?cc)(?!\w))"
)
_NUMBERS = r"(?<![\d.,:])\d+[.,]0+(?![\d.,:])|(?<![\w.,:])[.,]\d"
_FORBIDDEN = re.compile(f"{_UPPER}|{_ANY_CASE}|{_NUMBERS}")


def forbidden(text: str) -> tuple[str, ...]:
    """The forbidden abbreviations in ``text``, in order."""
    return tuple(_FORBIDDEN.findall(text))


# English word: how each language writes it. Left and right first: nothing worse can be swapped.
PROTECTED: dict[str, dict[str, tuple[str, ...]]] = {
    "bn": {
        "left eye": ("বাঁ চোখ",),
        "right eye": ("ডান চোখ",),
        "steroid": ("স্টেরয়েড",),
        "glaucoma": ("গ্লকোমা",),
        "kg": ("কেজি",),
        "mg": ("মিলিগ্রাম",),
    },
    "hi": {
        "left eye": ("बाईं आँख",),
        "right eye": ("दाईं आँख",),
        "steroid": ("स्टेरॉयड",),
        "glaucoma": ("ग्लूकोमा",),
        "kg": ("किलो",),
        "mg": ("मिलीग्राम",),
    },
    "ta": {
        "left eye": ("இடது கண்",),
        "right eye": ("வலது கண்",),
        "steroid": ("ஸ்டீராய்டு",),
        "glaucoma": ("கிளாக்கோமா",),
        "kg": ("கிலோ",),
        "mg": ("மில்லிகிராம்",),
    },
    "te": {
        "left eye": ("ఎడమ కన్ను",),
        "right eye": ("కుడి కన్ను",),
        "steroid": ("స్టెరాయిడ్",),
        "glaucoma": ("గ్లకోమా",),
        "kg": ("కిలో",),
        "mg": ("మిల్లీగ్రాము",),
    },
    "ur": {
        "left eye": ("بائیں آنکھ",),
        "right eye": ("دائیں آنکھ",),
        "steroid": ("سٹیرائیڈ",),
        "glaucoma": ("گلوکوما",),
        "kg": ("کلو",),
        "mg": ("ملی گرام",),
    },
    "ar": {
        "left eye": ("العين اليسرى",),
        "right eye": ("العين اليمنى",),
        "steroid": ("ستيرويد",),
        "glaucoma": ("الجلوكوما",),
        "kg": ("كغ", "كيلو"),
        "mg": ("ملغ", "ملّغ", "مليغرام"),
    },
    "sw": {
        "left eye": ("jicho la kushoto",),
        "right eye": ("jicho la kulia",),
        "steroid": ("steroidi",),
        "glaucoma": ("glakoma",),
        "kg": ("kilo",),
        "mg": ("miligramu",),
    },
    "fr": {
        "left eye": ("œil gauche",),
        "right eye": ("œil droit",),
        "steroid": ("corticoïde",),
        "glaucoma": ("glaucome",),
        "kg": ("kg", "kilo"),
        "mg": ("mg", "milligramme"),
    },
    "es": {
        "left eye": ("ojo izquierdo",),
        "right eye": ("ojo derecho",),
        "steroid": ("esteroide",),
        "glaucoma": ("glaucoma",),
        "kg": ("kg", "kilo"),
        "mg": ("mg", "miligramo"),
    },
    "pt": {
        "left eye": ("olho esquerdo",),
        "right eye": ("olho direito",),
        "steroid": ("corticoide",),
        "glaucoma": ("glaucoma",),
        "kg": ("kg", "quilo"),
        "mg": ("mg", "miligrama"),
    },
    "ne": {
        "left eye": ("देब्रे आँखा",),
        "right eye": ("दाहिने आँखा",),
        "steroid": ("स्टेरोइड",),
        "glaucoma": ("ग्लुकोमा",),
        "kg": ("किलो",),
        "mg": ("मिलिग्राम",),
    },
}

# How a sentence says no, as patterns for whole words; a translation of an English "not" or "never"
# must hold one of these.
NEGATIONS: dict[str, str] = {
    "bn": r"আসেননি|না|নেই|নয়|নি|হয়নি|ছাড়া",
    "hi": r"न|नहीं|मत|बिना",
    "ta": r"\S*வேண்டாம்|\S*இல்லை|இல்லா\S*|கூடாது|அல்ல|\S+ாமல்|\S+வில்லை|முடியா\S*|தெரியாது",
    "te": r"\S*వద్దు|\S*లేదు|లేవు|లేకపో\S*|లేకుండా|\S+లేక\S*|\S*కాదు|\S*కూడదు|\S*రాదు"
    r"|\S+వ్వదు|\S+కపోవచ్చు|\S+కుండా|తెలియదు|రాలేద\S*",
    "ur": r"نہ|نہیں|مت|بغیر",
    "ar": r"لا|ولا|لم|لن|ليس|ليست|غير|دون|ممنوع|أُلغيت|ألّا",
    "sw": r"usi(?!ku$)\S+|yasi\S+|isi\S+|kisi\S+|si|bila|ha[iuz]\S+|haku\S+|huku\S+"
    r"|hamwezi|hatu\S+|huhitaji|huwezi|huoni|wala",
    "fr": r"ne|n[’'].+|pas|jamais|non|sans|aucune?|rien",
    "es": r"no|nunca|sin|ni|nada|nadie|ninguna?",
    "pt": r"não|nunca|sem|nem|nada|ninguém|nenhuma?",
    "ne": r"नसक्ने|\S+एन|न(?!ाप)\S*नुहोस्|न\S+नुन्जेल|छैनन?्?|होइन|बिना|\S*(?:पर्दैन|हुँदैन|दिँदैन|हुन्न|चाहिँदैन)"
    r"|\S+िएन|नदुखे|ननिहुरी|नलागी|नछोइयोस्",
}

_WORD_ENDS = re.compile(r"[\s.,:;!?()،؛؟।۔]+")


def says_no(text: str, tag: str) -> bool:
    """Whether a sentence in this language holds a word that says no."""
    negation = re.compile(NEGATIONS[tag])
    # Not \b: Python sees a word's end before every vowel sign of the Indic scripts.
    return any(negation.fullmatch(word) for word in _WORD_ENDS.split(text.casefold()))
