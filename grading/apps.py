from django.apps import AppConfig


class GradingConfig(AppConfig):
    name = "grading"

    def ready(self):
        from grading import panels

        panels.register()
