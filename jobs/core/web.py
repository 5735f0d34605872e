"""What every view stands on: the right asked at the door, and the answer after an act."""

from __future__ import annotations

import functools
import io
from collections.abc import Callable, Iterable
from typing import IO, Concatenate, ParamSpec, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect, StreamingHttpResponse
from django.urls import reverse
from django.utils.http import content_disposition_header

from jobs.core.refusals import NotAllowed

P = ParamSpec("P")
_AT_ONCE = 1_000_000  # bytes that are not worth keeping a file open for

View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


def right(*names: str) -> Callable[[View[P]], View[P]]:
    """A stranger is sent to sign in; a signed-in person without any of the rights gets 403."""

    def decorate(view: View[P]) -> View[P]:
        @functools.wraps(view)
        def guarded(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            if not any(request.user.has_perm(name) for name in names):
                raise NotAllowed("You may not open this page; your role has not the right.")
            return view(request, *args, **kwargs)

        guarded.rights = names  # type: ignore[attr-defined]  # the table of roles and addresses reads it
        return cast(View[P], login_required(guarded))

    return decorate


def signed_in(view: View[P]) -> View[P]:
    """For every role."""
    return login_required(view)


def download(data: bytes | IO[bytes] | Iterable[str], name: str, content_type: str) -> HttpResponseBase:
    """A file as a download, never shown inside the page: what a stranger named or drew must not run here.

    An open file is sent piece by piece and closed; texts are sent as they come.
    """
    answer: HttpResponseBase
    if isinstance(data, bytes):
        answer = HttpResponse(data, content_type=content_type)
    elif isinstance(data, io.IOBase):
        file = cast(IO[bytes], data)
        small = file.seek(0, io.SEEK_END) < _AT_ONCE
        file.seek(0)
        if small:
            with file:
                answer = HttpResponse(file.read(), content_type=content_type)
        else:
            answer = FileResponse(file, content_type=content_type)
    else:
        answer = StreamingHttpResponse(cast(Iterable[str], data), content_type=content_type)
    answer.headers["Content-Disposition"] = content_disposition_header(as_attachment=True, filename=name) or "attachment"
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer


def recorded(request: HttpRequest, sentence: str, to: str, **kwargs: object) -> HttpResponseRedirect:
    """Back to a page, with the "Recorded" box."""
    messages.success(request, sentence)
    return HttpResponseRedirect(reverse(to, kwargs=kwargs or None))
