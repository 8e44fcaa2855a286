"""Upgrades without standing still: for a while the previous release's code and the next one's run on one schema.

The new schema comes first, so what a migration does must leave the old code working: see .deploy/UPGRADES.md.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import nullcontext
from typing import Any

import pytest
from django.apps.registry import Apps
from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import IntegrityError, connection, models
from django.db.migrations import Migration
from django.db.migrations import operations as does
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import ProjectState
from django.utils import timezone

from bible.colour.tints import Tint
from bible.settings import BASE_DIR

RELEASED = {"bible": "0001_initial", "guides": "0001_initial"}
"""The last migration of the previous release in each app: what may be running while the next one is put in. Before the
first release it is the first state that is kept: from here on databases are upgraded, never made anew."""

KEPT = {
    "bible.0001_initial": "1bf16448e67e78f116d7fdde514ca67f06347c6ce0513c0d4fa75a8a8eb3226e",
    "guides.0001_initial": "7231747a718f3aba26b482f0a4e2f22be63779211222d4bf4aa318d7d8a61e42",
}
"""SHA-256 of every migration that some database has behind it: it is not applied there again, so an edit would
leave that database another schema than a new one. A release adds its migrations here."""

TWO_STEPS: dict[str, str] = {
    "bible.0012_gradients_locked: Create constraint bible_lock_fades_to_a_tint on model lock: the old code may write what"
    " this refuses": "it writes neither column, and what they then hold is allowed",
}
"""“app.migration: operation” that breaks a rule on purpose, and why the previous release's code no longer minds (it
stopped using the thing then). Emptied at each release."""


def after_the_release() -> Iterator[tuple[str, Migration, ProjectState]]:
    loader = MigrationLoader(None)
    for app, last in RELEASED.items():
        assert (app, last) in loader.disk_migrations, "the named baseline is no migration of ours"
    old = loader.project_state(list(RELEASED.items()))
    done = set()
    for app, name in RELEASED.items():
        done |= set(loader.graph.forwards_plan((app, name)))
    for leaf in loader.graph.leaf_nodes():
        for key in loader.graph.forwards_plan(leaf):
            if key[0] in RELEASED and key not in done:
                done.add(key)
                yield f"{key[0]}.{key[1]}", loader.graph.nodes[key], old


def troubles(migration: Migration, known: ProjectState) -> Iterator[str]:
    """What the previous release's code would trip over. ``known`` is the schema it was written for."""
    for one in migration.operations:
        operations = one.database_operations if isinstance(one, does.SeparateDatabaseAndState) else [one]
        for operation in operations:
            if said := trouble(operation, migration.app_label, known):
                yield f"{operation.describe()}: {said}"


def trouble(operation: Any, app: str, known: ProjectState) -> str:
    model = (app, getattr(operation, "model_name_lower", getattr(operation, "name_lower", "")))
    in_use = model in known.models
    match operation:
        case does.DeleteModel() | does.RenameModel() | does.AlterModelTable():
            named = (app, getattr(operation, "old_name_lower", model[1]))
            return "the old code reads this table" if named in known.models else ""
        case does.RemoveField() | does.RenameField():
            name = getattr(operation, "old_name", getattr(operation, "name", ""))
            read = in_use and name in known.models[model].fields
            return "the old code reads and writes this column" if read else ""
        case does.AddField(field=field) if in_use and not field.many_to_many:
            fine = field.null or field.has_db_default() or field.generated
            return "" if fine else "the old code's rows have no value for it: null=True or db_default"
        case does.AlterField(field=field) if in_use and operation.name in known.models[model].fields:
            return narrower(known.models[model].fields[operation.name], field)
        case does.AddConstraint() if in_use:
            return "the old code may write what this refuses"
        case does.AlterUniqueTogether(option_value=value) if in_use and value:
            return "the old code may write what this refuses"
        case does.RunSQL():
            return "nobody can tell what SQL does to the old code: say it in TWO_STEPS"
        case AddIndexConcurrently():
            return ""
        case does.AddIndex() if in_use and app == "guides" and model[1] == "mark":
            return "it locks the marks while it is built: AddIndexConcurrently, in a migration that is not atomic"
    return ""


def narrower(old: models.Field[Any, Any], new: models.Field[Any, Any]) -> str:
    if old.null and not new.null and not new.has_db_default():
        return "the old code may write NULL"
    if (old.max_length or 10**9) > (new.max_length or 10**9):
        return "the old code may write longer values"
    if new.unique and not old.unique:
        return "the old code may write values twice"
    if old.get_internal_type() != new.get_internal_type():
        return "another type of column rewrites the table and changes what the old code reads"
    return ""


def test_what_is_kept_is_not_edited() -> None:
    digests = {}
    for name in KEPT:
        app, migration = name.split(".")
        digests[name] = hashlib.sha256((BASE_DIR / app / "migrations" / f"{migration}.py").read_bytes()).hexdigest()
    assert digests == KEPT


def test_every_migration_of_the_release_is_kept() -> None:
    loader = MigrationLoader(None)
    behind = {key for item in RELEASED.items() for key in loader.graph.forwards_plan(item) if key[0] in RELEASED}
    assert {f"{app}.{name}" for app, name in behind} == set(KEPT)


def test_the_previous_release_runs_on_the_new_schema() -> None:
    found = [
        f"{name}: {said}" for name, migration, known in after_the_release() for said in troubles(migration, known)
    ]
    assert [said for said in found if said not in TWO_STEPS] == []


@pytest.mark.django_db
def test_the_previous_releases_models_write_into_the_new_schema() -> None:
    """Rows as the old code makes them: its own columns, named one by one, and nothing else."""
    apps: Apps = MigrationLoader(None).project_state(list(RELEASED.items())).apps
    user = apps.get_model("auth", "User").objects.create(username="old")
    series = apps.get_model("bible", "Series").objects.create(title="Old", slug="old")
    apps.get_model("bible", "Membership").objects.create(series=series, user=user, role="lead")
    issue = apps.get_model("bible", "Issue").objects.create(series=series, number="1", position=1)
    subject = apps.get_model("bible", "Subject").objects.create(series=series, name="S")
    costume = apps.get_model("bible", "Costume").objects.create(subject=subject, name="C")
    part = apps.get_model("bible", "Part").objects.create(costume=costume, name="P")
    lock = {
        "role": "base",
        "written": "Y",
        "tint": Tint(0, 0, 100, 0),
        "from_position": 0,
        "series": series,
        "decided_by": user,
        "decided_at": timezone.now(),
    }
    Lock = apps.get_model("bible", "Lock")
    columns = {field.name for field in Lock._meta.get_fields()}
    Lock.objects.create(part=part, **{name: value for name, value in lock.items() if name in columns})
    guide = apps.get_model("guides", "Guide").objects.create(
        series=series, issue=issue, page="1", page_order="1", filename="x.jpg", sha256="0" * 64, byte_size=1, width=1,
        height=1, uploaded_by=user,
    )  # fmt: skip
    for model in apps.get_models():
        if model._meta.app_label in RELEASED:
            list(model._default_manager.all()[:1])  # every column it knows is still there
    assert guide.pk
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM bible_lock")
        assert cursor.fetchone()[0] == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("field", "goes_on"),
    [
        (models.IntegerField(default=1), False),
        (models.IntegerField(db_default=1), True),
        (models.IntegerField(null=True), True),
    ],
)
def test_the_database_agrees_about_new_columns(field: models.Field[Any, Any], goes_on: bool) -> None:
    """The rule for new columns is what the database does to the old code's INSERT, not our opinion of it."""
    old = MigrationLoader(None).project_state(list(RELEASED.items()))
    new = old.clone()
    operation = does.AddField("Allowance", "later", field)
    operation.state_forwards("bible", new)
    with connection.schema_editor() as editor:
        operation.database_forwards("bible", editor, old, new)
    try:
        with nullcontext() if goes_on else pytest.raises(IntegrityError):
            old.apps.get_model("bible", "Allowance").objects.create(key="of the old code")
        assert bool(trouble(operation, "bible", old)) is not goes_on
    finally:
        with connection.schema_editor() as editor:
            operation.database_backwards("bible", editor, new, old)


@pytest.fixture(scope="module")
def known() -> ProjectState:
    return MigrationLoader(None).project_state(list(RELEASED.items()))


class TestTheRules:
    """Each rule refuses what it is for; otherwise no test would ever fail."""

    @pytest.mark.parametrize(
        ("operation", "said"),
        [
            (does.RemoveField("Subject", "note"), "reads and writes this column"),
            (does.RenameField("Subject", "note", "words"), "reads and writes this column"),
            (does.DeleteModel("Subject"), "reads this table"),
            (does.RenameModel("Subject", "Thing"), "reads this table"),
            (does.AddField("Subject", "size", models.IntegerField(default=1)), "db_default"),
            (does.AlterField("Subject", "name", models.CharField(max_length=9)), "longer"),
            (does.AlterField("Issue", "in_check_at", models.DateTimeField()), "NULL"),
            (does.AlterField("Subject", "name", models.CharField(max_length=80, unique=True)), "twice"),
            (does.AlterField("Subject", "note", models.IntegerField()), "another type"),
            (does.AddConstraint("Subject", models.UniqueConstraint(fields=["note"], name="n")), "refuses"),
            (does.AlterUniqueTogether("Subject", {("note", "name")}), "refuses"),
            (does.RunSQL("SELECT 1"), "TWO_STEPS"),
        ],
    )
    def test_refused(self, known: ProjectState, operation: Any, said: str) -> None:
        assert said in trouble(operation, "bible", known)

    def test_an_index_of_the_marks_is_built_beside_the_work(self, known: ProjectState) -> None:
        index = models.Index(fields=["number"], name="n")
        assert "AddIndexConcurrently" in trouble(does.AddIndex("Mark", index), "guides", known)
        assert trouble(AddIndexConcurrently("Mark", index), "guides", known) == ""

    @pytest.mark.parametrize(
        "operation",
        [
            does.AddField("Subject", "size", models.IntegerField(db_default=1)),
            does.AddField("Subject", "size", models.IntegerField(null=True)),
            does.AddField("Later", "size", models.IntegerField()),
            does.RemoveField("Later", "size"),
            does.DeleteModel("Later"),
            does.CreateModel("Later", [("id", models.BigAutoField(primary_key=True))]),
            does.AlterField("Subject", "name", models.CharField(max_length=200)),
            does.RemoveConstraint("Subject", "x"),
        ],
    )
    def test_allowed(self, known: ProjectState, operation: Any) -> None:
        assert trouble(operation, "bible", known) == ""
