from django.apps import AppConfig
from django.db.models.signals import post_migrate


class GradingConfig(AppConfig):
    name = "grading"

    def ready(self):
        from grading import nightly, panels
        from grading.profiles import load_after_migrate

        panels.register()
        nightly.register_all()
        post_migrate.connect(load_after_migrate, sender=self, dispatch_uid="grading.shipped_profiles")
