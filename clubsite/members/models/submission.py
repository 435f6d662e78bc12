from django.conf import settings
from django.db import models
from django.utils import timezone


class Submission(models.Model):
    """A form that was sent, by the key it carried, so that sending it twice changes nothing twice."""

    key = models.UUIDField(primary_key=True)
    member = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE)
    location = models.CharField(max_length=300, blank=True)
    made_at = models.DateTimeField(default=timezone.now, db_index=True)

    def __str__(self):
        return str(self.key)
