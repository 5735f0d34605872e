from django.db import migrations


def to_rows(apps, schema_editor):
    """What was refused stood as a list on the import's own row, which grew with every chunk."""
    ImportRun = apps.get_model("core", "ImportRun")
    ImportRefusal = apps.get_model("core", "ImportRefusal")
    for run in ImportRun.objects.filter(counts__has_key="refused").iterator():
        refused = run.counts.pop("refused")
        ImportRefusal.objects.bulk_create(
            [ImportRefusal(run=run, row=row, column=column, value=value, wanted=wanted) for row, column, value, wanted in refused]
        )
        run.counts["left_out"] = len({error[0] for error in refused})
        run.save(update_fields=["counts"])


def to_lists(apps, schema_editor):
    ImportRun = apps.get_model("core", "ImportRun")
    ImportRefusal = apps.get_model("core", "ImportRefusal")
    for run in ImportRun.objects.exclude(started_at=None).iterator():
        rows = ImportRefusal.objects.filter(run=run).order_by("row", "pk")
        run.counts["refused"] = [list(row) for row in rows.values_list("row", "column", "value", "wanted")]
        run.counts.pop("left_out", None)
        run.save(update_fields=["counts"])


class Migration(migrations.Migration):
    dependencies = [("core", "0007_imports_taken_back")]
    operations = [migrations.RunPython(to_rows, to_lists)]
