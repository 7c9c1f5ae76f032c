"""A photo of a label is read by zxing-cpp; the label is drawn by segno, as the program draws it. Nothing is kept."""

import io

import pytest
import segno

from kits.picking.errors import PickRefusal
from kits.picking.scanning import photo as photos
from kits.picking.scanning.photo import read_photo

image = pytest.importorskip("PIL.Image")
filters = pytest.importorskip("PIL.ImageFilter")
pytest.importorskip("zxingcpp")


def label(text, scale=12):
    drawn = io.BytesIO()
    segno.make_qr(text, error="m").save(drawn, kind="png", scale=scale, border=4)
    return image.open(drawn).convert("L")


def as_file(picture, kind="JPEG", **how):
    made = io.BytesIO()
    picture.save(made, kind, **how)
    return made.getvalue()


def snapped(*texts, turned=17, size=(1600, 1200)):
    """Labels on a bench as a tablet sees them: turned, a little out of focus, in grey light."""
    bench = image.new("L", size, 150)
    for number, text in enumerate(texts):
        bench.paste(label(text).rotate(turned, expand=True, fillcolor=235), (100 + 700 * number, 250))
    return bench.filter(filters.GaussianBlur(2))


@pytest.mark.parametrize("code", ["PLACE A-12", "LOT OR-210-N70 NV-2336", "BAG 17"])
@pytest.mark.parametrize("turned", [0, 17, 90, 200])
def test_label_is_read_however_it_is_held(code, turned):
    assert read_photo(as_file(snapped(code, turned=turned), quality=60)) == code


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_kinds_of_picture_that_tablets_take(kind):
    assert read_photo(as_file(snapped("BAG 17"), kind)) == "BAG 17"


def test_photo_of_a_large_camera_is_read():
    wide = image.new("L", (6000, 4500), 150)
    wide.paste(label("PLACE K2", scale=40), (2200, 1500))
    assert read_photo(as_file(wide)) == "PLACE K2"


def test_photo_without_a_code_and_with_two_say_what_to_do():
    with pytest.raises(PickRefusal, match="No code is to be seen in the photo: go nearer"):
        read_photo(as_file(image.new("L", (800, 600), 150)))
    with pytest.raises(PickRefusal, match="Several codes are in the photo: take one label alone"):
        read_photo(as_file(snapped("BAG 17", "BAG 18")))


@pytest.mark.parametrize(
    "content", [b"", b"not a picture", b"\x89PNG\r\n\x1a\n" + b"\0" * 40, b"GIF89a\1\0\1\0\0\0\0;"]
)
def test_what_is_no_photo_is_said(content):
    with pytest.raises(PickRefusal, match="no photo that can be read"):
        read_photo(content)


def test_photo_that_breaks_off_is_said():
    with pytest.raises(PickRefusal, match="no photo that can be read"):
        read_photo(as_file(snapped("BAG 17"))[:4000])


def test_photo_is_bounded_in_bytes_and_in_pixels_before_it_is_opened():
    with pytest.raises(PickRefusal, match="more than 10 MB"):
        read_photo(b"\xff" * (photos.MOST_BYTES + 1))
    bomb = as_file(image.new("1", (20_000, 20_000), 1), "PNG")
    assert len(bomb) < 200_000
    with pytest.raises(PickRefusal, match="too many pixels"):
        read_photo(bomb)


def test_shop_without_the_libraries_is_told(monkeypatch):
    monkeypatch.setattr(photos, "CAN_READ_PHOTOS", False)
    with pytest.raises(PickRefusal, match="scan the label, or type its code"):
        read_photo(b"")
