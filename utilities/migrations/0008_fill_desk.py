import datetime as dt

from django.db import migrations
from django.utils import timezone

EVER = dt.date(1970, 1, 1)


def fill(apps, schema_editor):
    """The first version of each profile from what stood on the utility; its calendar as it is known; the files of each sending."""
    Utility, Version, Known = (apps.get_model("utilities", name) for name in ("Utility", "ProfileVersion", "KnownCalendar"))
    Request, Sending, SentFile = (apps.get_model("utilities", name) for name in ("FitRequest", "Sending", "SentFile"))
    now = timezone.now()
    for utility in Utility.objects.prefetch_related("closures"):
        limits = []
        if utility.published_limit:
            limits = [
                {
                    "step": "visit",
                    "source": utility.published_limit_source,
                    "days": None,
                    "counts": "business",
                    "begins": "received",
                    "words": utility.published_limit,
                }
            ]
        version = Version.objects.create(
            utility=utility,
            valid_from=EVER,
            who_may_fit=utility.who_may_fit,
            who_may_fit_source=utility.who_may_fit_source,
            route=utility.route,
            desk_phone=utility.desk_phone,
            desk_email=utility.desk_email,
            desk_hours=utility.desk_hours,
            limits=limits,
            confirmed_on=utility.confirmed_on,
            recorded_at=now,
            recorded_by_name="from the records before versions",
        )
        Request.objects.filter(utility=utility, job__isnull=False).update(version=version)
        days = [(closure.day.isoformat(), closure.kind) for closure in utility.closures.all()]
        Known.objects.create(
            utility=utility,
            known_on=EVER,
            weekdays=utility.worked_weekdays,
            holidays=utility.holidays,
            closed=[day for day, kind in days if kind == "closed"],
            opened=[day for day, kind in days if kind == "open"],
        )
    for sending in Sending.objects.prefetch_related("documents__file"):
        for document in sending.documents.all():
            SentFile.objects.create(
                sending=sending, document=document, name=document.name, sha256=document.file.sha256, size=document.file.size
            )


def empty(apps, schema_editor):
    """Back: what stands in the newest version stands on the utility again, the files beside their sending."""
    Utility, Sending = apps.get_model("utilities", "Utility"), apps.get_model("utilities", "Sending")
    for utility in Utility.objects.all():
        version = utility.versions.order_by("valid_from").last()
        if version is None:
            continue
        for name in ("who_may_fit", "who_may_fit_source", "route", "desk_phone", "desk_email", "desk_hours", "confirmed_on"):
            setattr(utility, name, getattr(version, name))
        visit = next((limit for limit in version.limits if limit["step"] == "visit"), None)
        if visit is not None:
            utility.published_limit = (visit["words"] or f"{visit['days']} {visit['counts']} days")[:160]
            utility.published_limit_source = visit["source"][:160]
        utility.save()
    for sending in Sending.objects.all():
        sending.documents.set([kept.document for kept in sending.files.all()])
    apps.get_model("utilities", "FitRequest").objects.update(version=None)
    Sending.objects.update(version=None)
    for name in ("ProfileVersion", "KnownCalendar", "SentFile"):
        apps.get_model("utilities", name).objects.all().delete()


class Migration(migrations.Migration):

    dependencies = [
        ('utilities', '0007_desk'),
    ]

    operations = [
        migrations.RunPython(fill, empty),
    ]
