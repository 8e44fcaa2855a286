from django.db import migrations, models


class Migration(migrations.Migration):
    """An empty column, which SQLite adds without making the table anew: that would take away what the release before
    this one still writes (0003)."""

    dependencies = [
        ('guides', '0022_costume_pictures'),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[
                migrations.AddField('proof', 'changed_at', models.DateTimeField(null=True)),
            ],
            state_operations=[
                migrations.AddField('proof', 'changed_at', models.DateTimeField(auto_now=True, null=True)),
            ],
        ),
    ]
