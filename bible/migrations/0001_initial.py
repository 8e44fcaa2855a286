"""The tables of the bible, and what the database itself refuses: overlapping locks, by a constraint on PostgreSQL, by triggers on SQLite."""

import bible.models.fields
import bible.series.models
import django.core.validators
import django.db.models.deletion
import django.db.models.functions.text
from django.conf import settings
from django.contrib.postgres.operations import BtreeGistExtension
from django.db import migrations, models

from bible.locks.guards import OVERLAP_CONSTRAINT, POSTGRES_OVERLAP, install_triggers


def install(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(POSTGRES_OVERLAP)
    else:
        install_triggers(schema_editor.connection)


def remove(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f"ALTER TABLE bible_lock DROP CONSTRAINT {OVERLAP_CONSTRAINT}")
    else:
        for event in ("INSERT", "UPDATE"):
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {OVERLAP_CONSTRAINT}_{event}")


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        BtreeGistExtension(),
        migrations.CreateModel(
            name='Allowance',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=64, unique=True)),
                ('used_until', models.FloatField(db_index=True, default=0)),
            ],
        ),
        migrations.CreateModel(
            name='Costume',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80)),
                ('name_upper', models.GeneratedField(db_persist=True, expression=django.db.models.functions.text.Upper('name'), output_field=models.CharField(max_length=80))),
                ('rank', models.PositiveSmallIntegerField(default=0, verbose_name='order')),
                ('from_position', models.PositiveIntegerField(default=0)),
                ('to_position', models.PositiveIntegerField(blank=True, null=True)),
                ('archived_at', models.DateTimeField(blank=True, editable=False, null=True)),
            ],
            options={
                'ordering': ['rank', 'id'],
            },
        ),
        migrations.CreateModel(
            name='Scene',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(help_text='Night, lamplight, fog.', max_length=80)),
                ('note', models.CharField(blank=True, max_length=300)),
                ('rule_data', models.JSONField(default=list, editable=False)),
                ('archived_at', models.DateTimeField(blank=True, editable=False, null=True)),
            ],
            options={
                'ordering': ['name'],
            },
        ),
        migrations.CreateModel(
            name='Series',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('title', models.CharField(max_length=120)),
                ('slug', models.SlugField(help_text='Used in addresses and on the command line: letters, figures and hyphens.', max_length=60, unique=True, validators=[bible.series.models.refuse_reserved_slug], verbose_name='short name')),
                ('notation_data', models.JSONField(default=bible.series.models.classic_notation, editable=False)),
                ('chart_kind', models.CharField(choices=[('64', '64 tints (25, 50 %, solid)'), ('125-70', '125 tints (25, 50, 70 %, solid)'), ('125-75', '125 tints (25, 50, 75 %, solid)'), ('house', "the house's own list")], default='64', max_length=8, verbose_name='chart')),
                ('chart_data', models.JSONField(blank=True, default=list, editable=False)),
                ('press', models.CharField(default='newsprint', max_length=60, verbose_name='press condition')),
                ('usual_pages', models.PositiveSmallIntegerField(blank=True, help_text='Numbered pages an issue usually has, covers apart.', null=True, verbose_name='pages of an issue')),
                ('created_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'verbose_name_plural': 'series',
                'ordering': ['title'],
            },
        ),
        migrations.CreateModel(
            name='Membership',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('role', models.CharField(choices=[('lead', 'lead colourist'), ('fill-in', 'fill-in colourist'), ('editor', 'editor'), ('guest', 'guest reader')], max_length=8)),
                ('joined_at', models.DateTimeField(auto_now_add=True)),
                ('looked_at', models.DateTimeField(editable=False, null=True, verbose_name='last looked at what has happened')),
                ('seen_until', models.DateTimeField(editable=False, null=True, verbose_name='had looked, before this visit')),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to=settings.AUTH_USER_MODEL)),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='memberships', to='bible.series')),
            ],
        ),
        migrations.CreateModel(
            name='Part',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=80)),
                ('name_upper', models.GeneratedField(db_persist=True, expression=django.db.models.functions.text.Upper('name'), output_field=models.CharField(max_length=80))),
                ('rank', models.PositiveSmallIntegerField(default=0, validators=[django.core.validators.MinValueValidator(0)], verbose_name='order')),
                ('archived_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('costume', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='bible.costume')),
            ],
            options={
                'ordering': ['rank', 'id'],
            },
        ),
        migrations.CreateModel(
            name='Lock',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('role', models.CharField(choices=[('base', 'base'), ('shade', 'shade'), ('highlight', 'highlight')], default='base', max_length=10)),
                ('tint', bible.models.fields.TintField()),
                ('written', models.CharField(max_length=120)),
                ('rule_data', models.JSONField(blank=True, default=list, editable=False)),
                ('from_position', models.PositiveIntegerField()),
                ('to_position', models.PositiveIntegerField(blank=True, null=True)),
                ('reason', models.CharField(blank=True, max_length=300)),
                ('decided_at', models.DateTimeField()),
                ('restored', models.BooleanField(db_default=False, default=False, help_text='It stands again for the lock that it follows: the decision that withdrew that was undone.')),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
                ('withdrawn_reason', models.CharField(blank=True, max_length=300)),
                ('decided_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('follows', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='followed_by', to='bible.lock')),
                ('withdrawn_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='locks', to='bible.part')),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='locks', to='bible.series')),
            ],
            options={
                'ordering': ['from_position', 'id'],
            },
        ),
        migrations.CreateModel(
            name='Proposal',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('role', models.CharField(choices=[('base', 'base'), ('shade', 'shade'), ('highlight', 'highlight')], default='base', max_length=10)),
                ('tint', bible.models.fields.TintField()),
                ('written', models.CharField(max_length=120)),
                ('from_position', models.PositiveIntegerField()),
                ('to_position', models.PositiveIntegerField(blank=True, null=True)),
                ('note', models.CharField(blank=True, max_length=300)),
                ('seen_at', models.CharField(blank=True, help_text='The mark it was proposed from, in words.', max_length=120)),
                ('seen_url', models.CharField(blank=True, max_length=200)),
                ('proposed_at', models.DateTimeField(auto_now_add=True)),
                ('state', models.CharField(choices=[('waiting', 'waiting'), ('accepted', 'accepted'), ('changed', 'accepted with another code or time'), ('declined', 'declined'), ('withdrawn', 'taken back')], default='waiting', max_length=10)),
                ('answer', models.CharField(blank=True, max_length=300)),
                ('answered_at', models.DateTimeField(blank=True, null=True)),
                ('answered_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lock', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='proposals', to='bible.lock')),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='proposals', to='bible.part')),
                ('proposed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='proposals', to=settings.AUTH_USER_MODEL)),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='proposals', to='bible.series')),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='ReadToken',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(help_text='What it is for, to know it again.', max_length=60)),
                ('token_hash', models.CharField(editable=False, max_length=64, unique=True)),
                ('made_at', models.DateTimeField(auto_now_add=True)),
                ('expires_at', models.DateTimeField()),
                ('used_on', models.DateField(null=True, verbose_name='last used')),
                ('withdrawn_at', models.DateTimeField(null=True)),
                ('membership', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='read_tokens', to='bible.membership')),
            ],
            options={
                'ordering': ['-made_at', '-id'],
            },
        ),
        migrations.CreateModel(
            name='SceneRule',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('rule_data', models.JSONField(default=list)),
                ('reason', models.CharField(blank=True, max_length=300)),
                ('decided_at', models.DateTimeField(auto_now_add=True)),
                ('decided_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('scene', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='rules', to='bible.scene')),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='SceneTint',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('tint', bible.models.fields.TintField()),
                ('shifted', bible.models.fields.TintField()),
                ('scene', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='tints', to='bible.scene')),
            ],
        ),
        migrations.AddField(
            model_name='scene',
            name='series',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='scenes', to='bible.series'),
        ),
        migrations.CreateModel(
            name='PressUpload',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.SlugField(max_length=60)),
                ('title', models.CharField(max_length=120)),
                ('source', models.CharField(max_length=300)),
                ('text', models.TextField(editable=False, help_text='The fitted condition in the form of the files in pressdata/.')),
                ('uploaded_at', models.DateTimeField(auto_now_add=True)),
                ('uploaded_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='press_uploads', to='bible.series')),
            ],
        ),
        migrations.CreateModel(
            name='LockNote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('text', models.TextField(max_length=2000, verbose_name='note')),
                ('written_at', models.DateTimeField(auto_now_add=True)),
                ('lock', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='notes', to='bible.lock')),
                ('written_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='bible.series')),
            ],
            options={
                'ordering': ['id'],
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Issue',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(help_text='As printed: 57, Annual 2.', max_length=30)),
                ('position', models.PositiveIntegerField(validators=[django.core.validators.MinValueValidator(1)], verbose_name='running order')),
                ('title', models.CharField(blank=True, max_length=120)),
                ('published', models.DateField(blank=True, null=True, verbose_name='cover date')),
                ('own_pages', models.PositiveSmallIntegerField(blank=True, help_text='Where it has not the usual number.', null=True, verbose_name='pages of this issue')),
                ('in_check_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('signed_off_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('archived_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='issues', to='bible.series')),
            ],
            options={
                'ordering': ['position'],
            },
        ),
        migrations.CreateModel(
            name='Invitation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('role', models.CharField(choices=[('lead', 'lead colourist'), ('fill-in', 'fill-in colourist'), ('editor', 'editor'), ('guest', 'guest reader')], max_length=8)),
                ('meant_for', models.CharField(blank=True, help_text='Whom you will give the link to.', max_length=120, verbose_name='for')),
                ('token_hash', models.CharField(editable=False, max_length=64, unique=True)),
                ('invited_at', models.DateTimeField(auto_now_add=True)),
                ('expires_at', models.DateTimeField()),
                ('accepted_at', models.DateTimeField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
                ('accepted_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('invited_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='invitations', to='bible.series')),
            ],
        ),
        migrations.CreateModel(
            name='Subject',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('character', 'character'), ('prop', 'prop'), ('place', 'place')], default='character', max_length=10)),
                ('name', models.CharField(max_length=80)),
                ('name_upper', models.GeneratedField(db_persist=True, expression=django.db.models.functions.text.Upper('name'), output_field=models.CharField(max_length=80))),
                ('note', models.TextField(blank=True)),
                ('archived_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='subjects', to='bible.series')),
            ],
            options={
                'ordering': ['kind', 'name'],
            },
        ),
        migrations.AddField(
            model_name='costume',
            name='subject',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='costumes', to='bible.subject'),
        ),
        migrations.CreateModel(
            name='Activity',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('room', models.CharField(choices=[('locks', 'locks'), ('proposals', 'proposals'), ('waivers', 'waivers'), ('notes', 'notes'), ('guides', 'page guides'), ('marks', 'marks'), ('scenes', 'scenes'), ('subjects', 'subjects, costumes, parts'), ('issues', 'issues'), ('people', 'people'), ('settings', 'notation, chart, press')], max_length=10)),
                ('kind', models.CharField(choices=[('locked', 'locked'), ('superseded', 'superseded'), ('corrected', 'corrected'), ('ended', 'ended'), ('settled', 'locked many at once'), ('undone', 'undid a decision'), ('proposed', 'proposed'), ('accepted', 'accepted a proposal'), ('declined', 'declined a proposal'), ('took-back', 'took a proposal back'), ('waived', 'waived'), ('waiver-back', 'took a waiver back'), ('waived-again', 'let waivers hold again'), ('noted', 'wrote a note'), ('uploaded', 'brought a guide in'), ('revised', 'brought a new revision in'), ('marked', 'marked'), ('rewrote', 'rewrote marks'), ('unmarked', 'took marks off'), ('scene-made', 'made a scene'), ('scene-changed', 'changed a scene'), ('scene-applied', 'let a scene hold'), ('scene-removed', 'took a scene off'), ('added', 'added'), ('brought-in', 'brought in by a table'), ('changed', 'changed'), ('moved', 'moved'), ('archived', 'archived'), ('brought-back', 'brought back'), ('deleted', 'deleted'), ('in-check', 'put in check'), ('out-of-check', 'took out of check'), ('signed-off', 'signed off'), ('reopened', 'opened again'), ('stands-again', 'signed off again by itself'), ('invited', 'invited'), ('joined', 'joined'), ('role-changed', 'changed a role'), ('left', 'left'), ('started', 'started the series'), ('reading', 'changed how codes read'), ('press', 'chose a press condition')], max_length=16)),
                ('at', models.DateTimeField()),
                ('day', models.DateField()),
                ('count', models.PositiveIntegerField(default=1)),
                ('page', models.CharField(blank=True, max_length=30)),
                ('mark_number', models.PositiveIntegerField(null=True)),
                ('words', models.JSONField(default=dict)),
                ('by', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('person', models.ForeignKey(db_index=False, help_text='Whom else it concerns: the proposer of what is answered, the member whose role changed.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('issue', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='bible.issue')),
                ('lock', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='bible.lock')),
                ('proposal', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='bible.proposal')),
                ('scene', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='bible.scene')),
                ('series', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='activity', to='bible.series')),
                ('subject', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='bible.subject')),
            ],
            options={
                'verbose_name_plural': 'activity',
                'ordering': ['-at', '-id'],
            },
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.UniqueConstraint(fields=('costume', 'name'), name='bible_part_name_once'),
        ),
        migrations.AddConstraint(
            model_name='scenetint',
            constraint=models.UniqueConstraint(fields=('scene', 'tint'), name='bible_scene_tint_once'),
        ),
        migrations.AddConstraint(
            model_name='scene',
            constraint=models.UniqueConstraint(fields=('series', 'name'), name='bible_scene_name_once'),
        ),
        migrations.AddIndex(
            model_name='proposal',
            index=models.Index(condition=models.Q(('state', 'waiting')), fields=['series', 'id'], name='bible_proposal_waiting'),
        ),
        migrations.AddConstraint(
            model_name='pressupload',
            constraint=models.UniqueConstraint(fields=('series', 'name'), name='bible_press_name_once'),
        ),
        migrations.AddConstraint(
            model_name='membership',
            constraint=models.UniqueConstraint(fields=('series', 'user'), name='bible_one_role_a_series'),
        ),
        migrations.AddIndex(
            model_name='locknote',
            index=models.Index(fields=['series', 'written_at'], name='bible_note_when'),
        ),
        migrations.AddIndex(
            model_name='lock',
            index=models.Index(fields=['part', 'role', 'from_position'], name='bible_lock_lookup'),
        ),
        migrations.AddIndex(
            model_name='lock',
            index=models.Index(fields=['series', 'tint'], name='bible_lock_tint'),
        ),
        migrations.AddConstraint(
            model_name='lock',
            constraint=models.CheckConstraint(condition=models.Q(('tint__gte', 0)), name='bible_lock_has_a_tint'),
        ),
        migrations.AddConstraint(
            model_name='lock',
            constraint=models.CheckConstraint(condition=models.Q(('to_position', None), ('to_position__gt', models.F('from_position')), _connector='OR'), name='bible_lock_runs_forward'),
        ),
        migrations.AddConstraint(
            model_name='issue',
            constraint=models.UniqueConstraint(fields=('series', 'number'), name='bible_issue_number_once'),
        ),
        migrations.AddConstraint(
            model_name='issue',
            constraint=models.UniqueConstraint(fields=('series', 'position'), name='bible_issue_position_once'),
        ),
        migrations.AddConstraint(
            model_name='subject',
            constraint=models.UniqueConstraint(fields=('series', 'name'), name='bible_subject_name_once'),
        ),
        migrations.AddConstraint(
            model_name='costume',
            constraint=models.UniqueConstraint(fields=('subject', 'name'), name='bible_costume_name_once'),
        ),
        migrations.AddConstraint(
            model_name='costume',
            constraint=models.CheckConstraint(condition=models.Q(('to_position', None), ('to_position__gt', models.F('from_position')), _connector='OR'), name='bible_costume_time_runs_forward'),
        ),
        migrations.AddIndex(
            model_name='activity',
            index=models.Index(fields=['series', '-at', '-id'], name='bible_activity_when'),
        ),
        migrations.AddIndex(
            model_name='activity',
            index=models.Index(fields=['series', 'room', '-at', '-id'], name='bible_activity_room'),
        ),
        migrations.AddIndex(
            model_name='activity',
            index=models.Index(fields=['series', 'by', '-at', '-id'], name='bible_activity_by'),
        ),
        migrations.AddIndex(
            model_name='activity',
            index=models.Index(condition=models.Q(('person__isnull', False)), fields=['series', 'person', '-at', '-id'], name='bible_activity_person'),
        ),
        migrations.AddConstraint(
            model_name='activity',
            constraint=models.UniqueConstraint(condition=models.Q(('kind__in', ['marked', 'rewrote', 'unmarked'])), fields=('series', 'by', 'issue', 'page', 'day', 'kind'), name='bible_activity_bundled'),
        ),
        migrations.RunPython(install, remove),
    ]
