"""The rows of the specification as one page that a clinician can read with a pen and sign.

python tests/specification/print_specification.py OUT.html
"""

from __future__ import annotations

import sys
from collections import Counter
from html import escape
from pathlib import Path
from string import Template

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "shared"))

from specification import MARKS, Chapter, Row, chapters

MEANING = {
    "P": "published text or abstract seen",
    "S": "seen in a secondary copy",
    "M": "from memory, not seen",
    "C": "common practice or our judgement, no source",
}
STYLE = """
@page { size: A4; margin: 16mm 14mm }
body { font: 10.5pt/1.4 "Noto Sans", sans-serif; color: #111; max-width: 190mm; margin: 8mm auto;
  padding: 0 4mm }
h1 { font-size: 19pt; margin: 0 0 2mm }
h2 { font-size: 13pt; margin: 9mm 0 1mm; break-after: avoid }
h2 + p { margin: 0 0 2mm; break-after: avoid }
.warning { border: 2px solid #111; padding: 2mm 3mm; font-weight: 600 }
table { border-collapse: collapse; width: 100%; table-layout: fixed }
* { box-sizing: border-box }
th, td { text-align: left; vertical-align: top; padding: 1.2mm 2mm; border-bottom: 1px solid #bbb;
  overflow-wrap: anywhere }
th { border-bottom: 2px solid #111; font-size: 9pt; overflow-wrap: normal }
thead { display: table-header-group }
tr { break-inside: avoid }
.n { width: 13mm }
.situation { width: 28% }
.source { width: 22% } .mark { width: 13mm } .tick { width: 11mm }
td.n, td.source { font-size: 9pt }
td.mark { font-weight: 600 }
td.tick::before { content: ""; display: inline-block; width: 4mm; height: 4mm; border: 1px solid #111 }
.counts { width: auto; table-layout: auto }
.sign { break-inside: avoid; margin-top: 10mm }
.sign p { margin: 9mm 0 0; border-bottom: 1px solid #111; width: 120mm }
"""
PAGE = Template("""<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Specification of the sample protocol</title>
<style>$style</style>
<h1>Specification of the sample protocol</h1>
<p class=warning>$warning</p>
<p>Aftercare of cataract surgery in people of 18 and older: what the operation, the eye or a look tells, what
then follows, and where it comes from. Day 0 is the day of surgery, F the first drop day, L the last day of
the steroid. 4x7 is 4 drops a day for 7 days. A window is earliest-target-latest day, all of them included.
Each row is tried on the program whenever it changes.</p>
<table class=counts><tr><th>Mark<th>How well the source is known<th>Rows</tr>
$counts</table>
$chapters
<section class=sign><h2>Read, changed where marked, and signed</h2>
<p>Name</p><p>Registration number</p><p>Date</p><p>Signature</p></section>
<p class=warning>$warning</p>
</html>
""")
WARNING = "Sample protocol: not approved for patients until a licensed clinician of the clinic has signed it."
HEAD = (
    "<tr><th class=n>No.<th class=situation>Situation<th>Expected<th class=source>Source"
    "<th class=mark>Mark<th class=tick>OK</tr>"
)


def page(found: tuple[Chapter, ...]) -> str:
    counts = Counter(row.mark for chapter in found for row in chapter.rows)
    told = [(mark, MEANING[mark], counts[mark]) for mark in MARKS] + [("", "all", counts.total())]
    return PAGE.substitute(
        style=STYLE,
        warning=WARNING,
        counts="\n".join(
            f"<tr><td class=mark>{mark}</td><td>{text}</td><td>{rows}</td></tr>" for mark, text, rows in told
        ),
        chapters="\n".join(_chapter(number, chapter) for number, chapter in enumerate(found, 1)),
    )


def _chapter(number: int, chapter: Chapter) -> str:
    marks = Counter(row.mark for row in chapter.rows)
    told = ", ".join(f"{mark} {marks[mark]}" for mark in MARKS if marks[mark])
    rows = "\n".join(_row(number, row) for row in chapter.rows)
    return (
        f"<h2>{number}. {escape(chapter.title)}</h2><p>Rows by mark: {told}</p>"
        f"<table><thead>{HEAD}</thead><tbody>\n{rows}\n</tbody></table>"
    )


def _row(chapter: int, row: Row) -> str:
    cells = (
        ("n", f"{chapter}.{row.number}"),
        ("situation", row.situation),
        ("expected", row.expected),
        ("source", row.source),
        ("mark", row.mark),
        ("tick", ""),
    )
    return "<tr>" + "".join(f"<td class={name}>{escape(text)}</td>" for name, text in cells) + "</tr>"


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        sys.stderr.write(__doc__ or "")
        return 2
    Path(arguments[0]).write_text(page(chapters()), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
