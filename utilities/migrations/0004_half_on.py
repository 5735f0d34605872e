from django.db import migrations, models


class Migration(migrations.Migration):
    """The day by which half are fitted stands beside the forecast, so that lists can be sorted by it."""

    dependencies = [
        ("utilities", "0003_scores"),
    ]

    operations = [
        migrations.AddField(
            model_name="forecast",
            name="half_on",
            field=models.DateField(null=True),
        ),
    ]
