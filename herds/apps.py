from django.apps import AppConfig


class HerdsConfig(AppConfig):
    name = "herds"
