"""For the machines that watch: is the process alive, and can it serve?"""

from __future__ import annotations

from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from jobs.core import clock
from jobs.core.models import Heartbeat


@never_cache
@require_safe
def live(request: HttpRequest) -> HttpResponse:
    """The process answers. Touches nothing else: a database that is away must not get the process killed."""
    return HttpResponse("alive\n", content_type="text/plain")


@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """The database answers; the heartbeat's age is one number for broker, timetable and worker."""
    try:
        connection.ensure_connection()
        beat = Heartbeat.objects.filter(name="worker").first()
    except DatabaseError:
        return JsonResponse({"database": "away"}, status=503)
    age = round((clock.now() - beat.at).total_seconds()) if beat else None
    return JsonResponse({"database": "answers", "heartbeat_age_seconds": age})
