from django.apps import AppConfig


class MembersConfig(AppConfig):
    name = "clubsite.members"
    label = "members"
