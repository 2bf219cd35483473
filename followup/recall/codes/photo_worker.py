"""The child process that looks for codes in a photo: bounded in time and memory, keeping nothing."""

from __future__ import annotations

import io
import json
import resource
import sys

MOST_BYTES = 1 << 30
MOST_SECONDS = 10
MOST_PIXELS = 60_000_000
# A photo is first looked at small, then as it is: most codes are found at once.
SIDES = (1600, 4000)


def main() -> None:
    """Photo on standard input, the texts of its QR codes as a JSON list on standard output."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    print(json.dumps(texts_of(sys.stdin.buffer.read())))  # noqa: T201 - this is its answer


def texts_of(photo: bytes) -> list[str]:
    """The texts of all QR codes in the photo."""
    import zxingcpp
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = MOST_PIXELS
    with Image.open(io.BytesIO(photo)) as opened:
        picture = ImageOps.exif_transpose(opened.convert("L"))
    for side in SIDES:
        small = picture.copy()
        small.thumbnail((side, side))
        found = zxingcpp.read_barcodes(small, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
        if found:
            return [code.text for code in found]
    return []


if __name__ == "__main__":
    main()
