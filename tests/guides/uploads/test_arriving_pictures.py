"""What kinds of pictures arrive, and what is said of them."""

from __future__ import annotations

import errno
import io
from typing import Any

import numpy as np
import pytest
import tifffile
from django.core.files.storage import FileSystemStorage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image, ImageCms

from bible.models import Issue
from guides.models import Arrival, Guide
from tests.factories import damaged_picture
from tests.forms import form_of
from tests.guides.uploads.pieces import PAGE, begin, piece, send_all, stored_files

pytestmark = pytest.mark.django_db


def tiff(pixels: Any, **options: Any) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, pixels, **options)
    return out.getvalue()


def shown(guide: Guide) -> list[int]:
    picture = np.asarray(Image.open(guide.screen))
    return [int(value) for value in picture[picture.shape[0] // 2, picture.shape[1] // 2]]


def test_sixteen_bits_keep_their_colours(fill_in_client: Client, issue: Issue) -> None:
    """Written by tifffile; 16-bit values over 257 are the 8-bit ones (65535 = 257 × 255)."""
    pixels = np.broadcast_to(np.array([200, 120, 40], np.uint16) * 257, (128, 96, 3))
    answer = send_all(fill_in_client, issue, tiff(pixels, photometric="rgb"), filename="p07.tif")
    assert shown(Guide.objects.get()) == pytest.approx([200, 120, 40], abs=2)
    assert answer.json()["notes"] == ["The picture has 16 bits a channel; it is shown with 8."]


def test_cmyk_without_a_profile_says_that_its_colours_are_a_hint(fill_in_client: Client, issue: Issue) -> None:
    pixels = np.broadcast_to(np.array([0, 128, 255, 0], np.uint8), (128, 96, 4))
    answer = send_all(fill_in_client, issue, tiff(pixels, photometric="separated"), filename="p07.tif")
    assert shown(Guide.objects.get()) == pytest.approx([255, 127, 0], abs=3)
    assert "hint only" in answer.json()["notes"][0]


def test_an_embedded_profile_is_followed(fill_in_client: Client, issue: Issue) -> None:
    """A Lab profile's colour in sRGB, figures from LittleCMS by itself: L* 60 a* 40 b* 30 written as CIELAB TIFF."""
    image = Image.new("LAB", (96, 128), (153, 168, 158))
    out = io.BytesIO()
    image.save(out, "TIFF")
    to_srgb = ImageCms.buildTransform(
        ImageCms.createProfile("LAB"),
        ImageCms.createProfile("sRGB"),
        "LAB",
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    converted = ImageCms.applyTransform(image, to_srgb)
    assert converted is not None
    send_all(fill_in_client, issue, out.getvalue(), filename="p07.tif")
    assert shown(Guide.objects.get()) == pytest.approx(list(converted.getpixel((9, 9))), abs=3)  # type: ignore[arg-type]


def test_the_plain_form_keeps_a_file_out_that_the_series_has(fill_in_client: Client, issue: Issue) -> None:
    url = reverse("upload", args=[issue.series.slug, issue.pk])

    def send(**more: str) -> Any:
        file = io.BytesIO(PAGE)
        file.name = "p07.png"
        return fill_in_client.post(url, {"scans": [file], "page": "", "colourist": ""} | more)

    assert send().status_code == 302
    answer = send()
    assert answer.status_code == 422
    assert "p07.png: this very file is here already: issue 1, page 7." in answer.content.decode()
    assert Guide.objects.count() == 1
    assert send(again="on").status_code == 302
    assert Guide.objects.current().get().revision == 2


def test_a_full_disk_is_told_and_what_has_come_is_kept(
    fill_in_client: Client, issue: Issue, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = begin(fill_in_client, issue, PAGE).json()["url"]
    piece(fill_in_client, url, PAGE, 0, 100)

    def full(store: FileSystemStorage, name: str, content: Any, max_length: Any = None) -> str:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as no_room:
        no_room.setattr(FileSystemStorage, "save", full)
        answer = piece(fill_in_client, url, PAGE, 100, len(PAGE))
        assert (answer.status_code, answer.json()["state"], answer["Retry-After"]) == (507, "busy", "300")
        assert "disk is full" in answer.json()["message"]
    assert piece(fill_in_client, url, PAGE, 100, len(PAGE)).json()["state"] == "whole"
    with monkeypatch.context() as no_room:
        no_room.setattr(FileSystemStorage, "save", full)
        assert (fill_in_client.post(url).status_code, Guide.objects.count()) == (507, 0)
    assert fill_in_client.post(url).json()["state"] == "stored"
    assert stored_files() == ["original.png", "screen.jpg", "thumb.jpg"]


DAMAGED = damaged_picture()


def test_damaged_pixels_are_asked_about_and_stored_on_a_yes(fill_in_client: Client, issue: Issue) -> None:
    asked = send_all(fill_in_client, issue, DAMAGED, filename="p07.jpg")
    told = asked.json()
    assert (asked.status_code, told["state"], told["to"]) == (409, "asks", "damaged")
    assert "The JPEG is damaged: the lower" in told["message"]
    assert "from row" in told["message"]
    url = Arrival.objects.get().get_absolute_url()
    assert fill_in_client.post(url, {"again": "1"}).json()["to"] == "damaged", "a yes to something else is none"
    assert not Guide.objects.exists()
    stored = fill_in_client.post(url, {"damaged": "1"}).json()
    assert stored["state"] == "stored"
    assert stored["notes"] == [told["message"]]
    assert Guide.objects.get().original.read() == DAMAGED


def test_the_plain_form_asks_too(fill_in_client: Client, issue: Issue) -> None:
    url = reverse("upload", args=[issue.series.slug, issue.pk])
    shown = fill_in_client.get(url).content.decode()
    assert "what can be read of it" not in shown, "nobody is asked for nothing"
    asked = fill_in_client.post(url, {"scans": SimpleUploadedFile("p07.jpg", DAMAGED)})
    assert asked.status_code == 422
    assert "The JPEG is damaged: the lower" in asked.content.decode()
    form = form_of(asked, has="damaged").attach(scans=SimpleUploadedFile("p07.jpg", DAMAGED))
    assert form.fill(damaged="on").press(fill_in_client, "Upload").status_code == 302
    assert "The JPEG is damaged" in fill_in_client.get(Guide.objects.get().get_absolute_url()).content.decode()
