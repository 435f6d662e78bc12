"""A review: an owner asks a mentor about animals; the mentor grades them blind, advises, and draws on the photos."""

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from herds.models import Animal, Herd, Litter, Verdict

from .look import Look
from .photo import Photo, View

MEMBER = "members.Member"


class Question(models.TextChoices):
    """What an owner asks; `other` needs words."""

    KEEP = "keep", "Which of them shall I keep?"
    COLOR = "color", "Why is the colour as it is?"
    BUCK = "buck", "Which buck for her?"
    PROGRESS = "progress", "Do I grade them rightly?"
    OTHER = "other", "Something else"


class ReviewState(models.TextChoices):
    ASKED = "asked", "waits for a mentor"
    TAKEN = "taken", "is being reviewed"
    ANSWERED = "answered", "answered"
    WITHDRAWN = "withdrawn", "withdrawn"


OPEN_REVIEWS = (ReviewState.ASKED, ReviewState.TAKEN)


class ReviewQuerySet(models.QuerySet):
    def asked_by_herds_of(self, member):
        return self.filter(herd__in=Herd.objects.kept_by(member))

    def for_mentor(self, member):
        """Reviews put to this mentor, or taken by them; not after they were handed on or closed to them."""
        return self.filter(mentor=member.pk, mentor__is_active=True, mentor__guardian__isnull=True)

    def in_queue_for(self, member):
        """The club's queue: waiting reviews without a mentor, for adults who take requests and keep not that herd."""
        if not (member.is_authenticated and member.is_active and member.takes_reviews and not member.is_youth):
            return self.none()
        waiting = self.filter(state=ReviewState.ASKED, mentor__isnull=True, ends_on__gte=timezone.localdate())
        return waiting.exclude(herd__in=Herd.objects.kept_by(member))

    def visible_to(self, member):
        """The owners' own, and those put to the mentor or taken. The queue shows no more than `in_queue_for`."""
        if not (member.is_authenticated and member.is_active):
            return self.none()
        return self.filter(
            Q(herd__in=Herd.objects.kept_by(member))
            | Q(mentor=member.pk, mentor__guardian__isnull=True) & ~Q(state=ReviewState.WITHDRAWN)
        )

    def editable_by(self, member):
        return self.filter(herd__in=Herd.objects.kept_by(member))

    def answerable_by(self, member):
        """Reviews that this mentor may still write in: taken, and the grant's days run."""
        return self.for_mentor(member).filter(state=ReviewState.TAKEN, ends_on__gte=timezone.localdate())

    def open(self):
        return self.filter(state__in=OPEN_REVIEWS)


class Review(models.Model):
    """One request for a mentor's eye on some animals of a herd, and what came of it."""

    herd = models.ForeignKey(Herd, models.CASCADE, related_name="reviews")
    litter = models.ForeignKey(Litter, models.SET_NULL, null=True, blank=True, related_name="reviews")
    asked_by = models.ForeignKey(MEMBER, models.PROTECT, related_name="reviews_asked")
    asked_at = models.DateTimeField(default=timezone.now)
    question = models.CharField(max_length=8, choices=Question)
    words = models.TextField("in your own words", blank=True, max_length=2000)
    mentor = models.ForeignKey(
        MEMBER,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="reviews_given",
        help_text="Empty: the club's queue.",
    )
    first_mentor = models.ForeignKey(
        MEMBER,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Whom it was put to before it was handed on.",
    )
    ends_on = models.DateField(help_text="The last day of the grants that were made with it.")
    state = models.CharField(max_length=9, choices=ReviewState, default=ReviewState.ASKED)
    put_at = models.DateTimeField(default=timezone.now, help_text="When it came to this mentor or into the queue.")
    handed_on_at = models.DateTimeField(null=True, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    summary = models.TextField(blank=True, max_length=6000)
    closed_at = models.DateTimeField(null=True, blank=True, help_text="When it was answered or withdrawn.")

    objects = ReviewQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=ReviewState.values), name="review_state_known"),
            models.CheckConstraint(condition=Q(question__in=Question.values), name="review_question_known"),
            models.CheckConstraint(
                condition=~Q(question=Question.OTHER) | ~Q(words=""),
                name="review_other_has_words",
                violation_error_message="Say in your own words what you want to know.",
            ),
            models.CheckConstraint(
                condition=Q(mentor__isnull=True) | ~Q(mentor=F("asked_by")),
                name="review_by_another",
                violation_error_message="You cannot review your own animals. Choose another mentor.",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[ReviewState.TAKEN, ReviewState.ANSWERED])
                | Q(mentor__isnull=False, taken_at__isnull=False),
                name="review_taken_by_somebody",
            ),
            models.CheckConstraint(
                condition=Q(state__in=OPEN_REVIEWS, closed_at__isnull=True)
                | (~Q(state__in=OPEN_REVIEWS) & Q(closed_at__isnull=False)),
                name="review_closed_when_over",
            ),
        ]
        indexes = [models.Index(fields=["mentor", "state"]), models.Index(fields=["herd", "-asked_at"])]

    def __str__(self):
        return f"review for {self.herd}, {timezone.localtime(self.asked_at):%-d %b %Y}"

    def get_absolute_url(self):
        from django.urls import reverse

        return reverse("review-detail", args=[self.pk])

    @property
    def is_open(self):
        return self.state in OPEN_REVIEWS


class ReviewAnimal(models.Model):
    """One animal of a review: the mentor's blind look, advice and opinion, or why the photos did not do."""

    review = models.ForeignKey(Review, models.CASCADE, related_name="animals")
    animal = models.ForeignKey(Animal, models.PROTECT, related_name="reviewed")
    position = models.PositiveSmallIntegerField()
    look = models.OneToOneField(Look, models.SET_NULL, null=True, blank=True, related_name="review_animal")
    graded_at = models.DateTimeField(
        null=True, blank=True, help_text="When the blind grading was saved: from then on the owner's steps are shown."
    )
    photo_problem = models.CharField("photo not good enough, because", max_length=300, blank=True)
    advice = models.TextField(blank=True, max_length=4000)
    opinion = models.CharField(max_length=9, choices=Verdict, blank=True)
    opinion_reason = models.CharField(max_length=300, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    acted_at = models.DateTimeField(null=True, blank=True, help_text="When the owner acted on it, or put it aside.")

    class Meta:
        ordering = ["review", "position"]
        constraints = [
            models.UniqueConstraint(fields=["review", "animal"], name="review_animal_once"),
            models.UniqueConstraint(fields=["review", "position"], name="review_animal_position_once"),
            models.CheckConstraint(condition=Q(opinion__in=[*Verdict.values, ""]), name="review_opinion_known"),
            models.CheckConstraint(
                condition=Q(opinion="") | ~Q(opinion_reason=""),
                name="review_opinion_has_reason",
                violation_error_message="Give a reason with your opinion.",
            ),
            models.CheckConstraint(
                condition=Q(graded_at__isnull=True) | Q(look__isnull=False) | ~Q(photo_problem=""),
                name="review_graded_or_why_not",
                violation_error_message="Grade the animal, or say why its photos are not good enough.",
            ),
        ]

    def __str__(self):
        return f"{self.animal} in the {self.review}"


class Drawing(models.Model):
    """An arrow or a box on a photo, as fractions of the image, with what it means.

    An arrow goes from (x1, y1) to its head (x2, y2); a box has its corners there.
    """

    class Shape(models.TextChoices):
        ARROW = "arrow", "arrow"
        BOX = "box", "box"

    of = models.ForeignKey(ReviewAnimal, models.CASCADE, related_name="drawings")
    photo = models.ForeignKey(Photo, models.CASCADE, related_name="drawings")
    shape = models.CharField(max_length=5, choices=Shape)
    x1 = models.FloatField()
    y1 = models.FloatField()
    x2 = models.FloatField()
    y2 = models.FloatField()
    words = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["photo", "made_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(x1__gte=0, x1__lte=1, y1__gte=0, y1__lte=1, x2__gte=0, x2__lte=1, y2__gte=0, y2__lte=1),
                name="drawing_on_the_photo",
                violation_error_message="The drawing lies outside the photo. Draw it again.",
            ),
            models.CheckConstraint(condition=Q(shape__in=["arrow", "box"]), name="drawing_shape_known"),
            models.CheckConstraint(
                condition=~Q(x1=F("x2"), y1=F("y2")),
                name="drawing_has_a_size",
                violation_error_message="The drawing is a single point. Draw from one place to another.",
            ),
        ]

    def __str__(self):
        return f"{self.shape} on the {self.photo}"


class ViewWish(models.Model):
    """Another photo that the mentor asks the owner for, with why; met by a photo, or declined."""

    of = models.ForeignKey(ReviewAnimal, models.CASCADE, related_name="wishes")
    view = models.CharField(max_length=12, choices=View)
    why = models.CharField(max_length=300)
    asked_at = models.DateTimeField(default=timezone.now)
    met_by = models.ForeignKey(Photo, models.SET_NULL, null=True, blank=True, related_name="+")
    settled_at = models.DateTimeField(null=True, blank=True)
    declined = models.CharField("why not", max_length=300, blank=True)

    class Meta:
        ordering = ["asked_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["of", "view"],
                condition=Q(settled_at__isnull=True),
                name="view_wish_once",
                violation_error_message="This view is asked for already.",
            ),
            models.CheckConstraint(condition=Q(view__in=View.values), name="view_wish_view_known"),
            models.CheckConstraint(
                condition=~Q(why=""),
                name="view_wish_says_why",
                violation_error_message="Say what the photo is to show.",
            ),
            models.CheckConstraint(
                condition=Q(settled_at__isnull=False) | Q(met_by__isnull=True, declined=""), name="view_wish_settled"
            ),
        ]

    def __str__(self):
        return f"{self.get_view_display()} of {self.of.animal}"


class ReviewWord(models.Model):
    """What owner and mentor write to each other, under an animal or under the whole review; kept, never edited."""

    review = models.ForeignKey(Review, models.CASCADE, related_name="talk")
    of = models.ForeignKey(ReviewAnimal, models.CASCADE, null=True, blank=True, related_name="talk")
    author = models.ForeignKey(MEMBER, models.PROTECT, related_name="+")
    words = models.TextField(max_length=2000)
    said_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["said_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(words=""), name="review_word_not_empty", violation_error_message="Write something first."
            )
        ]

    def __str__(self):
        return f"{self.author}: {self.words[:40]}"


class ReviewNews(models.Model):
    """That something happened which a member is to hear of by e-mail, once; the letter tells no content."""

    class Kind(models.TextChoices):
        ASKED = "asked", "a review is asked of you"
        TAKEN = "taken", "a mentor took up your request"
        HANDED_ON = "handed_on", "a review was handed on"
        WISH = "wish", "another photo is asked for"
        PHOTO = "photo", "a photo that you asked for is there"
        ANSWERED = "answered", "your review is answered"
        WORD = "word", "somebody wrote under a review"
        WITHDRAWN = "withdrawn", "a review was withdrawn"

    member = models.ForeignKey(MEMBER, models.CASCADE, related_name="+")
    review = models.ForeignKey(Review, models.CASCADE, related_name="news")
    kind = models.CharField(max_length=9, choices=Kind)
    at = models.DateTimeField(default=timezone.now)
    mailed_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["member", "mailed_at"])]

    def __str__(self):
        return f"{self.get_kind_display()}, {self.member}"
