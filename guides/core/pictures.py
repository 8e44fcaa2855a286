"""Putting an accepted picture into the storage: the original byte for byte, and what is shown of it.

Pages show the screen derivative (2,400 px at most); the original is served to members as it came. The storage is
used through names only (``save``, ``open``, ``exists``, ``listdir``, ``delete``), so a bucket does as well as a
folder.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO

from django.core.files.base import ContentFile, File
from django.core.files.storage import default_storage
from django.db import connection

from guides.imaging.intake.take_in import Intake


def sharer(user_id: int | None) -> str:
    """Whom a picture's share of the machine is counted for: one person of this very database. Two installations on a
    machine have a first person each, who share nothing."""
    place = connection.settings_dict
    return f"{place['HOST']}:{place['PORT']}/{place['NAME']}:{user_id}"


@contextmanager
def stored(picture: Intake, original: IO[bytes], folder: str) -> Iterator[tuple[str, str, str]]:
    """The names under which original, screen and thumb now lie in a folder of their own.

    The files are written first and removed again if the rows cannot be: nothing half-stored stays behind.
    """
    names: list[str] = []
    try:
        original.seek(0)
        names.append(default_storage.save(f"{folder}/original{picture.suffix}", File(original)))
        for name, data in (("screen", picture.screen), ("thumb", picture.thumb)):
            names.append(default_storage.save(f"{folder}/{name}.jpg", ContentFile(data)))
        yield names[0], names[1], names[2]
    except BaseException:
        for name in names:
            default_storage.delete(name)
        raise


def forget_others(folder: str, key: str) -> None:
    """What was drawn or worked out for earlier states of a guide is of no use to anybody: only ``key`` stays."""
    for file in default_storage.listdir(folder)[1]:
        if not file.startswith(key):
            default_storage.delete(f"{folder}/{file}")
