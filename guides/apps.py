"""The guides app: pages, marks, flags, proofs."""

from django.apps import AppConfig


class GuidesConfig(AppConfig):
    name = "guides"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from bible import signals
        from bible.notices.queries import FLAG_SOURCES
        from guides.core import continuity
        from guides.flags.notices import own_flags

        FLAG_SOURCES[:] = [own_flags]

        signals.expectation_changed.connect(continuity.on_expectation_changed)
        signals.issue_archived.connect(continuity.on_issue_archived)
        signals.issue_moved.connect(continuity.on_issue_moved)
        signals.reading_changed.connect(continuity.on_reading_changed)
        signals.scene_changed.connect(continuity.on_scene_changed)
