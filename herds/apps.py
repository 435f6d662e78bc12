from django.apps import AppConfig


class HerdsConfig(AppConfig):
    name = "herds"

    def ready(self):
        from herds import own_panels, panel_weights, people

        own_panels.register_all()
        people.register_all()
        panel_weights.register_parts()
