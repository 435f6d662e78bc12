from django.core.management.base import BaseCommand

from grading.photo_tidying import orphans, remove_orphans, waiting_without_job, without_files
from grading.tasks import prepare_photo
from herds.words import count_words


class Command(BaseCommand):
    help = (
        "Put photos whose job was lost back into the queue, and delete files of the photo store that belong to no "
        "photo. Never touches a file of a stored photo, nor one younger than --hours."
    )

    def add_arguments(self, parser):
        parser.add_argument("--dry-run", action="store_true", help="Say what would be done and do nothing.")
        parser.add_argument("--hours", type=int, default=24, help="Leave files younger than this alone (default 24).")

    def handle(self, *, dry_run, hours, **options):
        lost = waiting_without_job()
        found = list(orphans(hours=hours))
        if not dry_run:
            for key in lost:
                prepare_photo.enqueue(key=key)
            remove_orphans(found)
        would = "would be " if dry_run else ""
        self.stdout.write(f"{count_words(len(lost), 'waiting photo')} {would}put back into the queue.")
        self.stdout.write(f"{count_words(len(found), 'file')} without a photo {would}deleted.")
        for photo in without_files():
            self.stdout.write(f"The files of {photo} ({photo.key}) are not in the photo store. Restore them.")
