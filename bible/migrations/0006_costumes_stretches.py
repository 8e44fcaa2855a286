"""Costumes are worn in any number of stretches: a table of its own, filled from the one time that each had.

The two columns stay in the database for one release, since the previous release's code reads and writes them
(.deploy/UPGRADES.md); this code knows them no more.
"""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from bible.locks.guards import COSTUME_CONSTRAINT, POSTGRES_COSTUMES, install_triggers


def move(apps, schema_editor):
    Costume = apps.get_model("bible", "Costume")
    Stretch = apps.get_model("bible", "CostumeStretch")
    timed = Costume.objects.exclude(from_position=0, to_position=None)
    Stretch.objects.bulk_create(
        Stretch(costume_id=costume, from_position=begins, to_position=ends)
        for costume, begins, ends in timed.values_list("pk", "from_position", "to_position")
    )


def guard(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(POSTGRES_COSTUMES)
    else:
        install_triggers(schema_editor.connection)


def unguard(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f"ALTER TABLE bible_costumestretch DROP CONSTRAINT {COSTUME_CONSTRAINT}")


class Migration(migrations.Migration):

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ("bible", "0005_assignments"),
    ]

    operations = [
        migrations.CreateModel(
            name="CostumeStretch",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("from_position", models.PositiveIntegerField()),
                ("to_position", models.PositiveIntegerField(blank=True, null=True)),
                ("said_at", models.DateTimeField(blank=True, null=True)),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("costume", models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="stretches", to="bible.costume")),
                ("said_by", models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL)),
            ],
            options={
                "verbose_name": "time of a costume",
                "verbose_name_plural": "times of costumes",
                "ordering": ["from_position", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("to_position", None), ("to_position__gt", models.F("from_position")), _connector="OR"
                        ),
                        name="bible_costume_stretch_runs_forward",
                    )
                ],
            },
        ),
        migrations.RunPython(guard, unguard),
        migrations.AlterField("Costume", "from_position", models.PositiveIntegerField(default=0, db_default=0)),
        migrations.RunPython(move, migrations.RunPython.noop),
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RemoveConstraint("Costume", "bible_costume_time_runs_forward"),
                migrations.RemoveField("Costume", "from_position"),
                migrations.RemoveField("Costume", "to_position"),
            ],
        ),
    ]
