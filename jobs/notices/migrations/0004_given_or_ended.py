from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [('notices', '0003_why_ended')]

    operations = [
        migrations.AddConstraint(
            model_name='consent',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('ended', ''), ('given_at__isnull', False), ('revoked_at__isnull', True)), models.Q(('given_at__isnull', True), ('revoked_at__isnull', False), models.Q(('ended', ''), _negated=True)), _connector='OR'), name='consent_given_or_ended'),
        ),
    ]
