"""Writes to the pictures of costumes. Keyword-only and atomic; what was chosen before is kept and can stand again."""

from __future__ import annotations

import uuid
from pathlib import PurePath
from typing import IO, TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from bible.models import ActivityKind, Costume, record
from bible.series.holding import hold_series
from bible.series.refusals import Refused
from bible.series.things import about, title_of
from guides.core import pictures
from guides.core.crops import page_crops
from guides.imaging.intake.take_in import Intake
from guides.models import CostumePicture

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def choose_page(*, costume: Costume, guide: int, by: User) -> CostumePicture:
    """Show a costume as it stands on a page: the piece around its marks as they are now.

    Raises:
        Refused: it is not marked there.
    """
    crops = page_crops(costume, 1, guide)
    if not crops:
        raise Refused("The costume is not marked on this page: choose another one.")
    [crop] = crops
    piece = {"left": crop.left, "top": crop.top, "right": crop.right, "bottom": crop.bottom}
    return _chosen(costume, by, guide=crop.guide, **piece)


def bring_drawing_in(
    *, costume: Costume, picture: Intake, original: IO[bytes], filename: str, by: User
) -> CostumePicture:
    """Show a costume as an accepted picture has it."""
    folder = f"costumes/{costume.subject.series_id}/{uuid.uuid4().hex}"
    with pictures.stored(picture, original, folder) as (kept, screen, thumb):
        files = {"original": kept, "screen": screen, "thumb": thumb}
        size = {"width": picture.width, "height": picture.height}
        return _chosen(costume, by, **files, **size, filename=PurePath(filename).name[-200:])


@transaction.atomic
def _chosen(costume: Costume, by: User, **said: Any) -> CostumePicture:
    _withdraw(costume, by)
    return CostumePicture.objects.create(series=costume.subject.series, costume=costume, chosen_by=by, **said)


@transaction.atomic
def leave_picture(*, costume: Costume, by: User) -> None:
    """Show the best-marked page again. Twice is once."""
    _withdraw(costume, by)


@transaction.atomic
def choose_again(*, picture: CostumePicture, by: User) -> None:
    """Let a picture stand that was chosen before. Twice is once."""
    _withdraw(picture.costume, by)
    CostumePicture.objects.filter(pk=picture.pk).update(withdrawn_at=None)


def _withdraw(costume: Costume, by: User) -> None:
    hold_series(costume.subject.series_id)
    CostumePicture.objects.standing().filter(costume=costume).update(withdrawn_at=timezone.now())
    series, room, about_it = about(costume)
    words = {"what": "picture of", "name": title_of(costume)}
    record(ActivityKind.CHANGED, series=series, by=by, room=room, words=words, **about_it)
