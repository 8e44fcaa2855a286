import bible.models.fields
from bible.models.migrating import BuildIndex
from django.db import migrations, models


class Migration(migrations.Migration):
    """Marks are flagged by both codes of a gradient, so the indexes that serve flags hold both."""

    atomic = False

    dependencies = [
        ('guides', '0011_gradients_held'),
    ]

    operations = [
        migrations.RemoveIndex(
            model_name='mark',
            name='guides_mark_impact',
        ),
        migrations.RemoveIndex(
            model_name='mark',
            name='guides_mark_flagged',
        ),
        BuildIndex(
            model_name='mark',
            index=models.Index(condition=models.Q(('live', True), ('part__isnull', False), models.Q(('expected_to', models.Func(models.F('to_tint'), output_field=bible.models.fields.TintField(), template='COALESCE(%(expressions)s, -4)')), ('tint', models.F('expected')), _negated=True)), fields=['series', 'position', 'page_order', 'id', 'waived', 'tint', 'expected', 'to_tint', 'expected_to'], name='guides_mark_flagged'),
        ),
        BuildIndex(
            model_name='mark',
            index=models.Index(condition=models.Q(('part__isnull', False)), fields=['part', 'role', 'position', 'live', 'tint', 'expected', 'scene', 'waived', 'to_tint', 'expected_to'], name='guides_mark_impact'),
        ),
    ]
