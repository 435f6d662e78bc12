from django.apps import AppConfig
from django.db.models.signals import post_save
from django_tasks.signals import task_finished


class PedigreesConfig(AppConfig):
    name = "pedigrees"

    def ready(self):
        from pedigrees import nightly, panel_paper, panel_tree
        from pedigrees.actions.inbreeding import refresh_after_commit, refresh_after_job

        panel_paper.register_parts()
        panel_tree.register_parts()
        nightly.register_jobs()
        post_save.connect(refresh_after_commit, sender="herds.Animal", dispatch_uid="pedigrees.inbreeding")
        task_finished.connect(refresh_after_job, dispatch_uid="pedigrees.inbreeding_after_job")
