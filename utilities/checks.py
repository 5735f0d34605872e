"""Start-up checks of settings that could contradict a paper."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error


def tag_fits(app_configs: Sequence[Any] | None, **kwargs: Any) -> list[CheckMessage]:
    """The code of a bag tag leads to this installation's address: it must fit the tag with modules of one millimetre."""
    # Here and not above: what draws papers is slow to load, and every process passes this module.
    from jobs.core import codes, tags
    from jobs.core.papers import bagtag, qr

    path = f"/T/{codes.ALPHABET[0] * tags.LENGTH}/"
    try:
        bagtag.checked(qr.written(settings.BASE_URL, path))
    except ValueError as fault:
        return [Error(str(fault), id="utilities.E001")]
    return []
