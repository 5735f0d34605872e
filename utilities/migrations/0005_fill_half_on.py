import datetime as dt

from django.db import migrations

AT_ONCE = 2_000
BEYOND = 65_535


def fill(apps, schema_editor):
    """The 50th of 99 offsets of two bytes, low byte first, of the forecasts that lists show."""
    forecast = apps.get_model("utilities", "Forecast")
    rows = []
    for row in forecast.objects.filter(newest=True).only("as_of", "offsets").iterator(chunk_size=AT_ONCE):
        offset = int.from_bytes(bytes(row.offsets)[98:100], "little")
        row.half_on = None if offset == BEYOND else row.as_of + dt.timedelta(days=offset)
        rows.append(row)
        if len(rows) == AT_ONCE:
            forecast.objects.bulk_update(rows, ["half_on"])
            rows = []
    forecast.objects.bulk_update(rows, ["half_on"])


class Migration(migrations.Migration):
    dependencies = [
        ("utilities", "0004_half_on"),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
