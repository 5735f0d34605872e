"""On PostgreSQL no two open calls of a verifier may overlap. The range of the verifier's key with itself stands in for equality: an extension
that may be missing (btree_gist) is not needed."""

from django.db import migrations


class OnPostgres(migrations.RunSQL):
    """SQL that only PostgreSQL is given; on SQLite transactions write one at a time and the locked check holds."""

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        if schema_editor.connection.vendor == "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label, schema_editor, from_state, to_state):
        if schema_editor.connection.vendor == "postgresql":
            super().database_backwards(app_label, schema_editor, from_state, to_state)


class Migration(migrations.Migration):
    dependencies = [("appointments", "0001_first")]

    operations = [
        OnPostgres(
            sql="""
                ALTER TABLE appointments_appointment ADD CONSTRAINT call_place_once
                EXCLUDE USING gist (int8range(verifier_id, verifier_id, '[]') WITH &&, tstzrange(starts_at, ends_at) WITH &&)
                WHERE (state IN ('offered', 'booked', 'confirmed'))
            """,
            reverse_sql="ALTER TABLE appointments_appointment DROP CONSTRAINT call_place_once",
        ),
    ]
