"""A photo is kept without what the camera tells besides it. Layouts: ITU-T T.81 annex B, W3C PNG chapter 5."""

import pytest

from kits.service.errors import ServiceRefusal
from kits.service.images import JPEG, MOST_BYTES, PNG, SentPhoto, photo_to_keep
from tests.kits.service.pictures import PLACE, exif, jpeg, part, png


def kept(content, name="camera.jpg"):
    return photo_to_keep(SentPhoto(name, content))


@pytest.mark.parametrize("content", [jpeg(), png(), jpeg(behind=b"a second picture with " + PLACE)])
def test_nothing_of_where_it_was_taken_is_kept(content):
    assert PLACE in content
    assert PLACE not in kept(content).content


def test_a_jpeg_keeps_its_picture_and_which_side_is_up():
    photo = kept(jpeg(side=6))
    assert photo.media_type == JPEG
    # Orientation (tag 0x0112) as one short in the first directory, read anew as the Exif standard lays it out.
    assert b"\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00" in photo.content
    assert photo.content.endswith(b"\x12\xff\x00\x34\xff\xd0\x56one\xff\xd9")
    assert b"JFIF" in photo.content
    assert b"MPF" not in photo.content


def test_a_side_that_is_none_is_taken_as_upright():
    assert b"\x01\x12\x00\x03\x00\x00\x00\x01\x00\x01\x00\x00" in kept(jpeg(side=77)).content


def test_a_photo_that_is_kept_is_kept_alike_the_second_time():
    once = kept(jpeg()).content
    assert kept(once).content == once


def test_a_png_keeps_its_chunks_that_make_the_picture():
    photo = kept(png())
    assert photo.media_type == PNG
    assert [kind in photo.content for kind in (b"IHDR", b"IDAT", b"IEND", b"eXIf", b"tEXt")] == [True] * 3 + [False] * 2


@pytest.mark.parametrize(
    "content",
    [jpeg()[:-1], jpeg()[:40], png()[:-6], b"\xff\xd8", b"\xff\xd8\x00\x00", b"\xff\xd8" + part(0xE1, exif())],
)
def test_a_picture_that_breaks_off_is_refused(content):
    with pytest.raises(ServiceRefusal, match="breaks off before its end: take it again"):
        kept(content)


@pytest.mark.parametrize("content", [b"", b"GIF89a", b"%PDF-1.4", b"<svg xmlns=''>", b"PK\x03\x04"])
def test_what_is_no_picture_is_refused_whatever_it_is_called(content):
    with pytest.raises(ServiceRefusal, match="is no JPEG or PNG"):
        kept(content)


def test_a_photo_beyond_the_limit_is_refused_with_its_size():
    with pytest.raises(ServiceRefusal, match=r"has 8\.0 MB, more than the 8 that are kept"):
        kept(jpeg(note=b"\x00" * MOST_BYTES))
