"""Whose share of a machine's decoders a picture takes."""

from __future__ import annotations

import io

import pytest
from django.db import connection

from guides.core.pictures import sharer
from guides.imaging.intake import shares
from guides.imaging.intake.rules import IntakeError
from guides.imaging.intake.take_in import take_in
from tests.factories import picture_bytes


@pytest.mark.django_db
def test_two_installations_on_a_machine_share_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first person of each had one share between them: who sent a page here was refused for a page sent there."""
    pytest.importorskip("fcntl", reason="this system has no locks on files")
    here = sharer(1)
    assert sharer(1) == here != sharer(2)
    monkeypatch.setitem(connection.settings_dict, "NAME", "another")
    there = sharer(1)
    assert there != here
    monkeypatch.setattr(shares, "SHARE", 1)
    with shares.share_of(here):
        assert take_in(io.BytesIO(picture_bytes()), "a.jpg", who=there).width == 400
        with pytest.raises(IntakeError):
            take_in(io.BytesIO(picture_bytes()), "a.jpg", who=here)
