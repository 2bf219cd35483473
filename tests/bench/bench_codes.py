"""How much damage the return code takes: the one printed today against the one before, two decoders.

Run it by hand: ``PYTHONPATH=. python tests/bench/bench_codes.py``. Every code is drawn at its size on
paper, at 300 dots an inch, spoilt in 20 ways of each kind and read by zxing-cpp and by OpenCV; nothing
is judged. A stain covers what lies under it, as ink does; a fold takes the toner off.
"""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Callable, Iterator
from functools import partial

import cv2
import numpy as np
import zxingcpp

from followup.sheets.paper.qr import QUIET_ZONE, QrPicture, qr_picture, return_picture

DPI, TRIES = 300, 20
DOT_MM = 25.4 / DPI
# Of a clinic with a code of two characters and of one with eight, the longest there is.
PAYLOADS = ("RTN1017KQ2MX4D9T4F7Q2M8CLH", "RTN101ZQ83VN6RKWB7X0D2HJRIVERBND")
# The code by its text, with millimetres a module.
Drawn = Callable[[str], tuple[QrPicture, float]]
CODES: dict[str, Drawn] = {
    "M, 0.7 mm a module": lambda payload: (qr_picture(payload), 0.7),
    "Q, 25 mm wide": lambda payload: (
        (picture := return_picture(payload)),
        picture.size_mm / picture.modules,
    ),
}
Gray = np.ndarray
Spoil = Callable[[Gray, random.Random, float], Gray]


def printed(picture: QrPicture, module: float) -> tuple[Gray, float]:
    """The code on white paper, and the millimetres that it takes without its quiet zone."""
    light = np.full((picture.modules, picture.modules), 255, np.uint8)
    for run in picture.svg.rpartition('d="M')[2].partition('z"')[0].split("zM"):
        x, y, long = map(int, run.partition("v")[0].replace("h", " ").split())
        light[y, x : x + long] = 0
    fine = cv2.resize(light, None, fx=24, fy=24, interpolation=cv2.INTER_NEAREST)
    dots, room = round(len(light) * module / DOT_MM), round(8 / DOT_MM)
    drawn = cv2.resize(fine, (dots, dots), interpolation=cv2.INTER_AREA)
    page = cv2.copyMakeBorder(drawn, room, room, room, room, cv2.BORDER_CONSTANT, value=255)
    return page, (len(light) - 2 * QUIET_ZONE) * module


def blurred(page: Gray, _: random.Random, side: float, *, mm: float) -> Gray:
    return cv2.GaussianBlur(page, (0, 0), mm / DOT_MM)


def stained(page: Gray, chance: random.Random, side: float, *, part: float) -> Gray:
    """A round stain of this part of the code, somewhere on it, as dark as ink or as light as paper."""
    radius = math.sqrt(part / math.pi) * side
    free = side / 2 - radius
    x, y = (page.shape[0] / 2 + chance.uniform(-free, free) / DOT_MM for _ in range(2))
    shade = chance.choice((40, 230))
    return cv2.circle(page.copy(), (round(x), round(y)), round(radius / DOT_MM), shade, -1)


def folded(page: Gray, chance: random.Random, side: float) -> Gray:
    """A line without toner from edge to edge, 0.6 to 1.5 mm wide."""
    middle, turn = page.shape[0] / 2, chance.uniform(0, math.pi)
    off = chance.uniform(-0.5, 0.5) * side / DOT_MM
    x, y = middle - off * math.sin(turn), middle + off * math.cos(turn)
    far = page.shape[0]
    ends = [(round(x + s * far * math.cos(turn)), round(y + s * far * math.sin(turn))) for s in (-1, 1)]
    return cv2.line(page.copy(), ends[0], ends[1], 255, round(chance.uniform(0.6, 1.5) / DOT_MM))


def copied(page: Gray, chance: random.Random, side: float) -> Gray:
    """Two photocopies: each lies a little askew, is blurred and turned into black and white."""
    for _ in range(2):
        page = blurred(_turned(page, chance.uniform(-2, 2)), chance, side, mm=0.13)
        page = np.where(page > chance.uniform(100, 155), 255, 0).astype(np.uint8)
    return page


def pale(page: Gray, chance: random.Random, side: float) -> Gray:
    """Little toner in a bad light: black at 140 to 170 of 255, paper at 190, uneven and grainy."""
    black = chance.uniform(140, 170)
    lit = black + page.astype(float) / 255 * (190 - black)
    slope = np.linspace(-25, 25, page.shape[1])[None, :]
    grain = np.random.default_rng(chance.randrange(10**6)).normal(0, 4, page.shape)
    return np.clip(lit + slope + grain, 0, 255).astype(np.uint8)


def tilted(page: Gray, chance: random.Random, side: float) -> Gray:
    """Held at a slant: one edge a third shorter, and turned by up to 20 degrees."""
    n = page.shape[0]
    cut = n * 0.17
    wide = np.array([[0, 0], [n, 0], [n, n], [0, n]], np.float32)
    slant = np.array([[cut, cut], [n - cut, cut], [n, n - cut / 2], [0, n - cut / 2]], np.float32)
    seen = cv2.warpPerspective(
        page, cv2.getPerspectiveTransform(wide, slant), (n, n), borderValue=255, flags=cv2.INTER_AREA
    )
    return _turned(seen, chance.uniform(-20, 20))


def _turned(page: Gray, degrees: float) -> Gray:
    n = page.shape[0]
    return cv2.warpAffine(page, cv2.getRotationMatrix2D((n / 2, n / 2), degrees, 1), (n, n), borderValue=255)


DAMAGE: dict[str, Spoil] = {
    **{f"stain {percent}%": partial(stained, part=percent / 100) for percent in (5, 10, 15)},
    "fold": folded,
    **{f"blur {mm} mm": partial(blurred, mm=mm) for mm in (0.13, 0.2, 0.3)},
    "two copies": copied,
    "pale": pale,
    "tilt": tilted,
}


def by_zxing(page: Gray) -> set[str]:
    return {found.text for found in zxingcpp.read_barcodes(page)}


def by_opencv(page: Gray) -> set[str]:
    try:
        return {cv2.QRCodeDetector().detectAndDecode(page)[0]}
    except cv2.error:
        return set()


def read(spoil: Spoil, draw: Drawn) -> Iterator[tuple[bool, bool]]:
    """Whether each decoder read each of the tries."""
    for number in range(TRIES):
        chance = random.Random(number)
        payload = PAYLOADS[number % len(PAYLOADS)]
        page, side = printed(*draw(payload))
        seen = spoil(_turned(page, chance.uniform(-3, 3)), chance, side)
        yield payload in by_zxing(seen), payload in by_opencv(seen)


def main() -> None:
    sys.stdout.write(
        f"{f'of {TRIES}, zxing-cpp / OpenCV':28}" + "".join(f"{name:>22}" for name in CODES) + "\n"
    )
    for name, spoil in DAMAGE.items():
        found = [zip(*read(spoil, draw), strict=True) for draw in CODES.values()]
        told = [" / ".join(str(sum(column)) for column in columns) for columns in found]
        sys.stdout.write(f"{name:28}" + "".join(f"{one:>22}" for one in told) + "\n")


if __name__ == "__main__":
    main()
