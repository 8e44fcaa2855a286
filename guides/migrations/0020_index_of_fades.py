from django.db import migrations, models

from bible.models.migrating import BuildIndex


class Migration(migrations.Migration):

    atomic = False

    dependencies = [
        ('guides', '0019_paint_read_anew'),
    ]

    operations = [
        BuildIndex(
            model_name='mark',
            index=models.Index(
                condition=models.Q(('live', True), ('to_tint__isnull', False)),
                fields=['series', 'to_tint', 'tint'],
                name='guides_mark_fades',
            ),
        ),
    ]
