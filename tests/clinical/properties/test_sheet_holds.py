"""Whatever the record, the day and the language: a sheet says nothing that does not hold on that day."""

from __future__ import annotations

import re
from datetime import date, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.clinical.plan.build import build_plan
from followup.clinical.protocol.load import load_protocol
from followup.clinical.record import parse_record
from followup.language.catalogues import translator
from followup.language.dates import long_date
from followup.language.direction import without_marks
from followup.language.languages import LANGUAGES
from followup.sheets.content import ClinicInfo, build_content
from followup.sheets.model import SheetVisit
from followup.sheets.wording import ADVICE, ALWAYS, REASONS, UNTIL

PROTOCOL = load_protocol()
CLINIC = ClinicInfo("Lantern Hill Eye Clinic", "LH", "+44 20 7946 0101", "+44 20 7946 0102", None, "UTC")
_NONE = SheetVisit(day="", reasons=(), notes=())
few = settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


class _Sheet:
    """A printed sheet with what it was printed from, read without the program's own rules of what holds."""

    def __init__(self, told: dict, day: date, tag: str) -> None:
        self.record = parse_record(told)
        self.day, self.tag = day, tag
        self.plan = build_plan(self.record, PROTOCOL, as_of=self.record.last_operation_day)
        if self.plan.refused:
            self.said = ()
            return
        content = build_content(
            self.plan, self.record, PROTOCOL.formulary, CLINIC, language=tag, printed_on=day
        )
        self.content = content
        sections = [s for s in (content.cautions, *content.home, content.ordinary, content.teach_back) if s]
        self.said = tuple(without_marks(line) for section in sections for line in section.lines)
        rows = [row.reason for row in content.table.rows if row.kind == "visit"]
        self.reasons = {without_marks(r) for r in (*rows, *(content.next_visit or _NONE).reasons)}
        self.over = {without_marks(x): without_marks(g.heading) for g in content.home for x in g.lines}

    def until(self, sentence: str) -> list[str]:
        """What stands for the last day wherever this sentence is said, or over it; "" where none is named."""
        before, gap, after = translator(self.tag).gettext(ADVICE[sentence]).partition("%(until)s")
        pattern = re.escape(before) + ("(.+)" if gap else "()") + re.escape(after)
        said = [(found[1], line) for line in self.said if (found := re.search(pattern + r"\Z", line))]
        return [last or self._day_over(line) for last, line in said]

    def _day_over(self, line: str) -> str:
        """The day of the heading under which a rule of everyday life stands; "" where that has none."""
        words = translator(self.tag).gettext
        heading, (before, _, after) = self.over.get(line, ""), words(UNTIL).partition("%(day)s")
        if heading in ("", without_marks(words(ALWAYS))):
            return ""
        return heading.removeprefix(before).removesuffix(after)

    def says(self, sentence: str) -> bool:
        return bool(self.until(sentence))

    def drops(self, role: str | None = None, *states: str) -> bool:
        """Whether a course of this role is used on the day or later; a drop, where no role is named."""
        return any(
            (c.role == role if role else c.eye is not None)
            and c.state in (states or ("active",))
            and c.last_day is not None
            and (c.from_before or c.last_day >= self.day)
            for c in self.plan.courses
        )


@few
@given(data=st.data(), later=st.integers(0, 160), tag=st.sampled_from(sorted(LANGUAGES)))
def test_no_sheet_holds_a_sentence_whose_end_has_passed_or_whose_state_does_not_hold(data, made, later, tag):
    told = data.draw(made.records())
    operated = [date.fromisoformat(o["date"]) for o in told["operations"]]
    day = max(operated) + timedelta(days=later)
    sheet = _Sheet(told, day, tag)
    if not sheet.said:
        return
    to_come = [long_date(day + timedelta(days=n), LANGUAGES[tag]) for n in range(200)]
    for sentence in ADVICE:
        for last in sheet.until(sentence):
            assert not last or last in to_come[1 if sentence.startswith("pad") else 0 :], (sentence, last)
    record, patient = sheet.record, sheet.record.patient
    today = day in operated
    nobody = patient.drops_by is not None and patient.drops_by.who == "nobody"
    states = {
        "stay-the-night": today,
        "helper-today": today and nobody,
        "helper": nobody and not patient.help_arranged and sheet.drops(),
        "squeeze": patient.can_squeeze is False and sheet.drops(),
        "fast": sheet.drops(),
        "bus": sheet.drops(),
        "no-drops-rescue": not all(_steroid_drops(sheet, o.eye) for o in record.operations),
        "steroid-tablets": sheet.drops("steroid tablet", "active", "held"),
        "wide-pupil": sheet.drops("cycloplegic"),
        "no-flying": any(o.air_or_gas == "gas" for o in record.operations),
        "bandage-lens": any(o.bandage_lens for o in record.operations),
        "pad": any(o.pad and o.date == day for o in record.operations) and sheet.drops(),
        "pad-alone": any(o.pad and o.date == day for o in record.operations) and not sheet.drops(),
        "blood-thinner": patient.conditions.blood_thinner is True,
        "only-eye": any(e.only_seeing for e in (patient.eyes.right, patient.eyes.left)),
        "allergy": bool(patient.allergies or patient.allergy_text),
        "pregnancy": patient.sex == "female" and patient.conditions.pregnancy in (None, "no"),
        "drive": sheet.content.next_visit is not None,
    }
    for sentence, holds in states.items():
        assert holds or not sheet.says(sentence), sentence
    assert (sheet.content.before_leaving is None) or day <= max(operated)


def _steroid_drops(sheet: _Sheet, eye: str) -> bool:
    drops = [c for c in sheet.plan.courses if c.role == "steroid" and c.eye == eye]
    return any(
        c.state in ("active", "held") and c.last_day is not None and c.last_day >= sheet.day for c in drops
    )


@few
@given(data=st.data(), tag=st.sampled_from(sorted(LANGUAGES)))
def test_a_look_at_the_pressure_speaks_of_steroid_drops_only_where_there_are_some(data, made, tag):
    told = data.draw(made.records(eyes=(1,)))
    sheet = _Sheet(told, date.fromisoformat(told["operations"][0]["date"]), tag)
    if not sheet.said or any(c.role == "steroid" and c.state != "stopped" for c in sheet.plan.courses):
        return
    for kind in ("pressure", "taper-end"):
        assert without_marks(translator(tag).gettext(REASONS[kind])) not in sheet.reasons
