import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone

from .animal import Animal
from .herd import Herd

MEMBER = "members.Member"


def sheet_path(batch, name):
    """Where an uploaded sheet lies: under a key, so that its own name never becomes a path, nor an address."""
    return f"brought-in/{batch.key}"


class BatchState(models.TextChoices):
    READING = "reading", "being read"
    PREVIEW = "preview", "waiting for you"
    WRITING = "writing", "going in"
    DONE = "done", "in the registry"
    UNDOING = "undoing", "being taken back"
    UNDONE = "undone", "taken back"
    FAILED = "failed", "could not be read"


class RowOutcome(models.TextChoices):
    """What becomes of a row of a sheet."""

    CREATED = "created", "new"
    CHANGED = "changed", "changed"
    SAME = "same", "as it is"
    ASKED = "asked", "asked"
    REFUSED = "refused", "refused"


class RowKind(models.TextChoices):
    ANIMAL = "animal", "animal"
    LITTER = "litter", "litter"


class BatchQuerySet(models.QuerySet):
    def visible_to(self, member):
        """Sheets for the member's herds; those for the whole registry, for a registrar."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        registry = Q(herd__isnull=True) if getattr(member, "is_registrar", False) else Q(pk__in=[])
        return self.filter(Q(herd__in=Herd.objects.kept_by(member)) | registry)

    editable_by = visible_to


class ImportBatch(models.Model):
    """One sheet brought in: the file as it came, what its columns mean, and what it created and changed."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    herd = models.ForeignKey(
        Herd, models.PROTECT, null=True, blank=True, related_name="sheets", help_text="Empty for the whole registry."
    )
    by = models.ForeignKey(MEMBER, models.PROTECT, null=True, related_name="+")
    name = models.CharField("file", max_length=200)
    file = models.FileField(upload_to=sheet_path, blank=True, help_text="The sheet as it came; it can be deleted.")
    bytes = models.PositiveBigIntegerField(default=0)
    state = models.CharField(max_length=8, choices=BatchState, default=BatchState.READING)
    told = models.TextField(blank=True, help_text="What the person is told beside the state, in sentences.")
    settings = models.JSONField(default=dict, help_text="Columns, and the answers given once for the whole sheet.")
    found = models.JSONField(default=dict, help_text="What reading found: worksheets, headers, questions.")
    counts = models.JSONField(default=dict)
    digest = models.CharField(max_length=64, blank=True, help_text="Of the preview that was agreed to.")
    sealed = models.JSONField(default=dict, help_text="The columns that the seals of its changes were made of.")
    made_at = models.DateTimeField(default=timezone.now)
    done_at = models.DateTimeField(null=True, blank=True)
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(MEMBER, models.PROTECT, null=True, blank=True, related_name="+")

    objects = BatchQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=BatchState.values), name="import_state_known"),
            models.CheckConstraint(
                condition=Q(undone_at__isnull=True) | Q(done_at__isnull=False), name="import_undone_after_done"
            ),
        ]

    def __str__(self):
        return self.name

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("sheet-detail", args=[self.key])


class ImportRow(models.Model):
    """One row of a sheet with its own cells, what will become of it, and why."""

    batch = models.ForeignKey(ImportBatch, models.CASCADE, related_name="rows")
    sheet = models.CharField("worksheet", max_length=100, blank=True)
    place = models.PositiveIntegerField(help_text="In the order of the file, over all worksheets.")
    number = models.PositiveIntegerField("row", help_text="As the spreadsheet counts it.")
    kind = models.CharField(max_length=6, choices=RowKind, default=RowKind.ANIMAL)
    outcome = models.CharField(max_length=8, choices=RowOutcome)
    label = models.CharField(max_length=200, blank=True)
    cells = models.JSONField(default=list, help_text="The cells as they were written.")
    says = models.JSONField(default=list, help_text="Sentences: what is wrong and how to mend it, or what was noted.")
    changes = models.JSONField(default=list, help_text="[field, from, to] in words.")
    asks = models.JSONField(default=list, help_text="Questions with their possible answers.")
    animal = models.ForeignKey(Animal, models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["place"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "place"], name="import_row_once"),
            models.CheckConstraint(condition=Q(outcome__in=RowOutcome.values), name="import_row_outcome_known"),
        ]
        indexes = [models.Index(fields=["batch", "outcome", "place"])]

    def __str__(self):
        return f"row {self.number}"


class ImportChange(models.Model):
    """One registry row that an import created (`before` is empty) or changed; the seal tells whether it is untouched."""

    batch = models.ForeignKey(ImportBatch, models.CASCADE, related_name="changes")
    kind = models.CharField(max_length=10)
    thing = models.BigIntegerField()
    before = models.JSONField(null=True, help_text="Former values of the changed fields.")
    seal = models.CharField(max_length=32, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["batch", "kind", "thing"], name="import_change_once")]
        indexes = [models.Index(fields=["kind", "thing"])]

    def __str__(self):
        return f"{self.kind} {self.thing}"


class ImportProgress(models.Model):
    """How far the job of a sheet is; a row of its own, which the job can write beside its one large transaction."""

    batch = models.OneToOneField(ImportBatch, models.CASCADE, related_name="progress")
    step = models.CharField(max_length=100, blank=True)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)

    def __str__(self):
        return self.step


class SheetLayout(models.Model):
    """What a member once said the columns of such a sheet mean, for the next sheet with the same headers."""

    member = models.ForeignKey(MEMBER, models.CASCADE, related_name="+")
    headers = models.CharField(max_length=64, help_text="A digest of the headers in their order.")
    kind = models.CharField(max_length=6, blank=True)
    columns = models.JSONField(default=list)
    used_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["member", "headers"], name="sheet_layout_once")]

    def __str__(self):
        return self.headers
