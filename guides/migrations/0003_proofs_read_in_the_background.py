"""How far a reading is stands with its job. The column it stood in goes in two steps: nobody reads it any more, and
the previous release's code, which writes it, may go on until it is replaced."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("guides", "0002_tables_taken_back")]

    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.AlterField("proof", "state_at", models.DateTimeField(editable=False, null=True)),
            ],
            state_operations=[migrations.RemoveField("proof", "state_at")],
        ),
        migrations.AlterField(
            model_name="proof",
            name="state",
            field=models.CharField(
                choices=[
                    ("waiting", "waiting to be read"),
                    ("read", "read"),
                    ("refused", "not laid over its guide"),
                ],
                default="waiting",
                editable=False,
                max_length=10,
            ),
        ),
    ]
