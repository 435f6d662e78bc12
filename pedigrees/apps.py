from django.apps import AppConfig


class PedigreesConfig(AppConfig):
    name = "pedigrees"
