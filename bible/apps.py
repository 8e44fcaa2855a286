"""The bible app: the series, its people and its bible."""

from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in
from django.core.signals import request_finished
from django.db.models.signals import post_migrate, post_save
from django.urls import register_converter


class BibleConfig(AppConfig):
    name = "bible"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from bible.accounts.devices import note_device
        from bible.chart.converters import TintConverter
        from bible.locks import guards
        from bible.models import Activity
        from bible.notices.services import on_activity
        from bible.web.memory import give_back

        register_converter(TintConverter, "tint")
        user_logged_in.connect(note_device)
        request_finished.connect(give_back)
        post_save.connect(on_activity, sender=Activity)
        post_migrate.connect(guards.reinstall, sender=self)
