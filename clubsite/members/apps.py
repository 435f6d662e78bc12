from django.apps import AppConfig


class MembersConfig(AppConfig):
    name = "clubsite.members"
    label = "members"

    def ready(self):
        from clubsite.members import nightly, own_changes

        nightly.register_all()
        own_changes.register_all()
