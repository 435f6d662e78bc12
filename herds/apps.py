from django.apps import AppConfig


class HerdsConfig(AppConfig):
    name = "herds"

    def ready(self):
        from herds import own_panels

        own_panels.register_all()
