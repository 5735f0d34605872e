"""The five groups and their rights. A copy of the table of that day: a migration imports no app code."""

from django.db import migrations

M, S, F, V, C = "operations manager", "scheduler", "finance", "verifier", "crew"

RIGHTS = {
    "see_jobs": ("See all jobs", (M, S, F, V,)),
    "see_own_jobs": ("See the jobs of their own crew", (C,)),
    "see_utilities": ("See utilities, requests and forecasts", (M, S, F, V,)),
    "see_money": ("See amounts of money", (M, F,)),
    "see_medical": ("See the medical answer", (M, S, V,)),
    "see_calls": ("See verification calls", (M, S, V,)),
    "see_notices": ("See messages", (M, S,)),
    "add_jobs": ("Add jobs and import them", (M, S,)),
    "set_plan": ("Set contract and milestone plan before the first invoice", (M, F,)),
    "assign_crew": ("Assign a crew and the install day", (M, S,)),
    "record_day_one": ("Record day one, photos and the CT check", (M, C,)),
    "record_custody": ("Record where the collar is", (M, S, C,)),
    "record_papers": ("Record permission to operate, inspections and papers", (M, S,)),
    "record_requests": ("Record requests, sendings, visits and contacts", (M, S,)),
    "record_gateway": ("Record gateway, software and communications", (M, S, V,)),
    "record_medical": ("Record the medical answer", (S, V, C,)),
    "record_emergency": ("Record an emergency at a home", (M, S, F, V, C,)),
    "end_emergency": ("Record the end of an emergency", (M, S,)),
    "edit_utilities": ("Edit utilities, calendars and their profile", (M,)),
    "hold": ("Put on hold and lift", (M, S,)),
    "cancel_jobs": ("Cancel a job", (M,)),
    "correct_facts": ("Correct a fact of one's own kind within its days", (M, S, F, V, C,)),
    "correct_any_fact": ("Correct any fact at any time", (M,)),
    "book_calls": ("Book, move and cancel calls", (M, S, V,)),
    "book_any_call": ("Book calls of every verifier", (M, S,)),
    "set_hours": ("Set the verifiers' hours", (M, S,)),
    "release_notices": ("Release messages", (M, S,)),
    "verify": ("Hold a verification call and record it", (V,)),
    "void_verification": ("Correct a verification record by addition", (M,)),
    "reveal_codes": ("Keep and see a gate code, each time with a purpose", (M, S, V, C,)),
    "bill": ("Release invoices, record payments", (F,)),
    "run_office": ("People, rules and webhooks", (M,)),
}


def make(apps, schema_editor):
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    ContentType = apps.get_model("contenttypes", "ContentType")
    job, _ = ContentType.objects.get_or_create(app_label="core", model="job")
    groups = {name: Group.objects.get_or_create(name=name)[0] for name in (M, S, F, V, C)}
    for codename, (words, roles) in RIGHTS.items():
        permission, _ = Permission.objects.get_or_create(codename=codename, content_type=job, defaults={"name": words})
        for role in roles:
            groups[role].permissions.add(permission)


class Migration(migrations.Migration):
    dependencies = [
        ("core", "0001_first"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("contenttypes", "0002_remove_content_type_name"),
    ]

    # Back: the groups stay; people may have been given them.
    operations = [migrations.RunPython(make, migrations.RunPython.noop)]
