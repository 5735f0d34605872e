"""See the gate code of any home: managers and schedulers. A copy of the table of that day: a migration imports no app code."""

from django.db import migrations

WORDS = "See the gate code of any home at any time"


def give(apps, schema_editor):
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    ContentType = apps.get_model("contenttypes", "ContentType")
    job, _ = ContentType.objects.get_or_create(app_label="core", model="job")
    permission, _ = Permission.objects.get_or_create(codename="reveal_any_code", content_type=job, defaults={"name": WORDS})
    for group in Group.objects.filter(name__in=("operations manager", "scheduler")):
        group.permissions.add(permission)


class Migration(migrations.Migration):
    dependencies = [
        ("core", "0002_groups"),
    ]

    operations = [
        migrations.AlterModelOptions(
            name="job",
            options={
                "default_permissions": (),
                "permissions": [
                    ("see_jobs", "See all jobs"),
                    ("see_own_jobs", "See the jobs of their own crew"),
                    ("see_utilities", "See utilities, requests and forecasts"),
                    ("see_money", "See amounts of money"),
                    ("see_medical", "See the medical answer"),
                    ("see_calls", "See verification calls"),
                    ("see_notices", "See messages"),
                    ("add_jobs", "Add jobs and import them"),
                    ("set_plan", "Set contract and milestone plan before the first invoice"),
                    ("assign_crew", "Assign a crew and the install day"),
                    ("record_day_one", "Record day one, photos and the CT check"),
                    ("record_custody", "Record where the collar is"),
                    ("record_papers", "Record permission to operate, inspections and papers"),
                    ("record_requests", "Record requests, sendings, visits and contacts"),
                    ("record_gateway", "Record gateway, software and communications"),
                    ("record_medical", "Record the medical answer"),
                    ("record_emergency", "Record an emergency at a home"),
                    ("end_emergency", "Record the end of an emergency"),
                    ("edit_utilities", "Edit utilities, calendars and their profile"),
                    ("hold", "Put on hold and lift"),
                    ("cancel_jobs", "Cancel a job"),
                    ("correct_facts", "Correct a fact of one's own kind within its days"),
                    ("correct_any_fact", "Correct any fact at any time"),
                    ("book_calls", "Book, move and cancel calls"),
                    ("book_any_call", "Book calls of every verifier"),
                    ("set_hours", "Set the verifiers' hours"),
                    ("release_notices", "Release messages"),
                    ("verify", "Hold a verification call and record it"),
                    ("void_verification", "Correct a verification record by addition"),
                    ("reveal_codes", "Keep and see a gate code, each time with a purpose"),
                    ("reveal_any_code", "See the gate code of any home at any time"),
                    ("bill", "Release invoices, record payments"),
                    ("run_office", "People, rules and webhooks"),
                ],
            },
        ),
        # Back: the groups keep it; a right that nothing asks for does no harm.
        migrations.RunPython(give, migrations.RunPython.noop),
    ]
