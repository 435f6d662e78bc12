from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone


class MemberManager(BaseUserManager):
    """Makes members by e-mail; allauth and the test client call it."""

    def create_user(self, email, password=None, **fields):
        member = self.model(email=self.normalize_email(email), **fields)
        member.set_password(password)
        member.full_clean(exclude=["password"])
        member.save(using=self._db)
        return member

    def get_by_natural_key(self, email):
        return self.get(email__iexact=email)

    def adults(self):
        """Members who may message and mentor: no youth accounts, nobody who has left."""
        return self.filter(is_active=True, guardian__isnull=True)


class WeightUnit(models.TextChoices):
    LB_OZ = "lb_oz", "pounds and ounces"
    KG = "kg", "kilograms"


class NewsBy(models.TextChoices):
    """How a member hears that something waits for them; letters hold no content."""

    AT_ONCE = "at_once", "an e-mail at once"
    DAILY = "daily", "one e-mail a day"
    NEVER = "never", "no e-mail"


class Member(AbstractBaseUser):
    """A person of the club. Roles are columns, because they are few and each changes what one sees."""

    email = models.EmailField("e-mail", unique=True)
    name = models.CharField(max_length=80)
    region = models.CharField(max_length=80, blank=True, help_text="A district or county, never an address.")
    is_active = models.BooleanField(default=True)
    is_officer = models.BooleanField("officer", default=False)
    is_registrar = models.BooleanField("registrar", default=False)
    takes_reviews = models.BooleanField("takes mentor requests", default=False)
    guardian = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="youths", help_text="For a youth account."
    )
    grader_until = models.DateField(
        null=True, blank=True, help_text="The day until which the calibration result counts as current."
    )
    weight_unit = models.CharField(max_length=5, choices=WeightUnit, default=WeightUnit.LB_OZ)
    news_by = models.CharField("news by e-mail", max_length=7, choices=NewsBy, default=NewsBy.AT_ONCE)
    joined_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = MemberManager()
    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                Lower("email"),
                name="member_email_once",
                violation_error_message="A member with this e-mail address is already in the club.",
            ),
            models.CheckConstraint(
                condition=Q(guardian__isnull=True) | ~Q(guardian=F("id")),
                name="member_not_own_guardian",
                violation_error_message="A youth cannot be their own guardian. Choose an adult member.",
            ),
            models.CheckConstraint(condition=Q(news_by__in=NewsBy.values), name="member_news_by_known"),
            models.CheckConstraint(condition=Q(weight_unit__in=WeightUnit.values), name="member_weight_unit_known"),
            models.CheckConstraint(
                condition=Q(guardian__isnull=True) | Q(is_officer=False, is_registrar=False, takes_reviews=False),
                name="member_youth_holds_no_office",
                violation_error_message="A youth account cannot be officer, registrar or mentor.",
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True) | Q(is_active=False),
                name="member_closed_is_inactive",
            ),
        ]

    def __str__(self):
        return self.name or "A former member"

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("member-detail", args=[self.pk])

    @property
    def is_youth(self):
        return self.guardian_id is not None

    def is_grader(self, on):
        """True when the member's calibration result is current on that day."""
        return self.grader_until is not None and self.grader_until >= on

    def get_full_name(self):
        return self.name

    def get_short_name(self):
        return self.name.split(" ")[0]
