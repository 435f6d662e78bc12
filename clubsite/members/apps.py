from django.apps import AppConfig


class MembersConfig(AppConfig):
    name = "clubsite.members"
    label = "members"

    def ready(self):
        from clubsite.members import nightly

        nightly.register_all()
