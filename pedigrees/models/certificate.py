import pgtrigger
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from clubsite.constraints import sentence
from herds.models import Animal

CERTIFICATE_KEPT = """
    IF ROW(NEW.number, NEW.generations, NEW.issued_on, NEW.issued_by_id, NEW.printed)
       IS DISTINCT FROM ROW(OLD.number, OLD.generations, OLD.issued_on, OLD.issued_by_id, OLD.printed) THEN
        RAISE EXCEPTION 'issued' USING ERRCODE = 'check_violation', CONSTRAINT = 'certificate_kept';
    END IF;
    RETURN NEW;
"""
sentence("certificate_kept", "A certificate that was issued stays as it was printed. Issue a new one.")


class CertificateQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Certificates of the member's own animals, those they issued, and all for the registrar."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        if member.is_registrar:
            return self.all()
        return self.filter(Q(animal__in=Animal.objects.kept_by(member)) | Q(issued_by=member.pk))

    def revocable_by(self, member):
        """What the registrar may declare void."""
        return self.filter(void_on__isnull=True) if getattr(member, "is_registrar", False) else self.none()


class Certificate(models.Model):
    """A pedigree on paper, with everything that stood on it; what was printed can so be checked years later."""

    number = models.CharField(max_length=16, unique=True)
    animal = models.ForeignKey(Animal, models.PROTECT, related_name="certificates")
    generations = models.PositiveSmallIntegerField(choices=[(3, "three generations"), (4, "four generations")])
    issued_on = models.DateField(default=timezone.localdate)
    issued_by = models.ForeignKey("members.Member", models.PROTECT, related_name="+")
    printed = models.JSONField(help_text="Every word on the paper, so that the same file can be made again.")
    void_on = models.DateField(null=True, blank=True)
    void_by = models.ForeignKey("members.Member", models.PROTECT, null=True, blank=True, related_name="+")
    void_reason = models.CharField(max_length=200, blank=True)

    objects = CertificateQuerySet.as_manager()

    class Meta:
        ordering = ["-issued_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(generations__in=[3, 4]),
                name="certificate_three_or_four_generations",
                violation_error_message="A certificate shows three or four generations.",
            ),
            models.CheckConstraint(
                condition=Q(void_on__isnull=True, void_by__isnull=True, void_reason="")
                | (Q(void_on__gte=F("issued_on"), void_by__isnull=False) & ~Q(void_reason="")),
                name="certificate_void_with_reason",
                violation_error_message="Say why the certificate is void.",
            ),
        ]
        triggers = [
            pgtrigger.Trigger(
                name="certificate_kept",
                when=pgtrigger.Before,
                operation=pgtrigger.Update,
                func=CERTIFICATE_KEPT,
            )
        ]

    def __str__(self):
        return self.number

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("certificate-detail", args=[self.number])
