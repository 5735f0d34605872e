from django.db import migrations


def say_why(apps, schema_editor):
    """What ended before now did so because a person asked."""
    apps.get_model("notices", "Consent").objects.filter(revoked_at__isnull=False, ended="").update(ended="asked")


class Migration(migrations.Migration):
    dependencies = [("notices", "0002_texts_and_answers")]

    # Back: the column goes with the migration before.
    operations = [migrations.RunPython(say_why, migrations.RunPython.noop)]
