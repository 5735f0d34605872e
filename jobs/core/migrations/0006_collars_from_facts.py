"""The collars of the homes that are on record already, each with one move that says from where it is known."""

from django.db import migrations
from django.utils import timezone

PLACES = {"collar_staged": "site", "collar_fitted": "socket", "collar_removed": "unknown"}


def give(apps, schema_editor):
    Fact = apps.get_model("core", "Fact")
    Collar = apps.get_model("core", "Collar")
    CollarMove = apps.get_model("core", "CollarMove")
    standing = Fact.objects.filter(replaced_by__isnull=True, withdrawn=False)
    newest = {}
    for fact in standing.filter(kind="collar_registered").select_related("job").order_by("day", "pk"):
        newest[fact.job_id] = fact
    last = {}
    for fact in standing.filter(kind__in=PLACES, job__in=newest).order_by("day", "pk"):
        last[fact.job_id] = fact
    # A cancelled home's serial may hang at another one by now: that one has it.
    for fact in sorted(newest.values(), key=lambda fact: (fact.job.state != "cancelled", fact.pk)):
        placed = last.get(fact.job_id)
        place = PLACES[placed.kind] if placed else "unknown"
        where = str(placed.value.get("place") or "")[:160] if placed else ""
        since = placed.day if placed else fact.day
        collar, _ = Collar.objects.update_or_create(
            serial=fact.value["serial"],
            defaults={
                "revision": str(fact.value.get("revision") or "")[:20],
                "job_id": fact.job_id,
                "place": place,
                "where": where,
                "place_since": since,
            },
        )
        CollarMove.objects.create(
            collar=collar,
            on=since,
            place=place,
            where=where,
            home_id=fact.job_id,
            reason="from the facts on record",
            fact=fact,
            by_name="migration",
            recorded_at=timezone.now(),
        )


class Migration(migrations.Migration):
    dependencies = [("core", "0005_custody_and_papers")]

    # Back: the tables go with the migration before; nothing else was changed.
    operations = [migrations.RunPython(give, migrations.RunPython.noop)]
