"""One code read out of a photo of a label: bounded in bytes and in pixels, and nothing of the photo is kept.

The libraries that do it are an extra of the project (``camera``); without them a shop has its scanners and keyboards.
"""

from __future__ import annotations

import io

from kits.picking.errors import PickRefusal

try:
    import zxingcpp
    from PIL import Image, UnidentifiedImageError
except ImportError:
    CAN_READ_PHOTOS = False
else:
    CAN_READ_PHOTOS = True

MOST_BYTES = 10 * 2**20
MOST_PIXELS = 50_000_000
SIDE = 2400
"""A photo is made no larger than this before it is read, in pixels: a label that fills a tenth of it still reads."""
TOO_MANY = "The photo has too many pixels: set a smaller size on the camera."
NO_PICTURE = "That is no photo that can be read: take one with the camera, as JPEG or PNG."


def read_photo(content: bytes) -> str:
    """Return what the one code in a photo says; refuse a photo without one, or with several."""
    if not CAN_READ_PHOTOS:
        raise PickRefusal("Photos are not read here: scan the label, or type its code.")
    if len(content) > MOST_BYTES:
        raise PickRefusal(f"The photo has more than {MOST_BYTES // 2**20} MB: set a smaller size on the camera.")
    try:
        with Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as photo:
            if photo.width * photo.height > MOST_PIXELS:
                raise PickRefusal(TOO_MANY)
            photo.draft("L", (SIDE, SIDE))
            plain = photo.convert("L")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise PickRefusal(TOO_MANY) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError) as error:
        raise PickRefusal(NO_PICTURE) from error
    plain.thumbnail((SIDE, SIDE))
    formats = zxingcpp.BarcodeFormats((zxingcpp.BarcodeFormat.QRCode, zxingcpp.BarcodeFormat.Code128))
    # Not from a shrunken copy: the last sign of a short code was once read wrongly from one.
    found = {mark.text for mark in zxingcpp.read_barcodes(plain, formats=formats, try_downscale=False) if mark.text}
    if not found:
        raise PickRefusal("No code is to be seen in the photo: go nearer, hold still, and take the whole label.")
    if len(found) > 1:
        raise PickRefusal("Several codes are in the photo: take one label alone.")
    return found.pop()
