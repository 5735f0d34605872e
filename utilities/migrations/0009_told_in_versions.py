from django.db import migrations


class Migration(migrations.Migration):
    """What a utility told stands in its versions, what was sent in the files of a sending; the fields they came from go."""

    dependencies = [
        ('utilities', '0008_fill_desk'),
    ]

    operations = [
        migrations.RemoveField(
            model_name='sending',
            name='documents',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='confirmed_on',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='desk_email',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='desk_hours',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='desk_phone',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='published_limit',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='published_limit_source',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='route',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='who_may_fit',
        ),
        migrations.RemoveField(
            model_name='utility',
            name='who_may_fit_source',
        ),
    ]
