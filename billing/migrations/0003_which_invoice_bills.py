"""Every invoice so far is the one that bills its milestone."""

from django.db import migrations
from django.db.models import F


def bills(apps, schema_editor):
    apps.get_model("billing", "Invoice").objects.filter(bills__isnull=True).update(bills=F("milestone"))


class Migration(migrations.Migration):
    dependencies = [("billing", "0002_credits_changes_and_bank_lines")]

    # Back: the column goes with the migration before this one.
    operations = [migrations.RunPython(bills, migrations.RunPython.noop)]
