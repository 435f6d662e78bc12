"""Pages of reviews: the list, one review as its owner reads it, and what owner and mentor do with it."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.forms import posted
from clubsite.members.sent_once import sent_once
from grading import review_reading as reading
from grading.actions import reviews as actions
from grading.forms.reviews import DeclineForm, MeetForm, UntilForm, WordForm
from grading.models import Review, ReviewAnimal, ReviewState, ViewWish
from herds.actions.grants import default_end
from herds.models import Herd

from . import reviewing
from .review_ask import begun_herds


@require_safe
def review_list(request):
    """My requests, those put to me, the club's queue, and what is over."""
    context = reading.lists_for(request.user)
    actions.mark_seen(member=request.user)
    context["today"], context["begun"] = timezone.localdate(), begun_herds(request)
    context["keeps_herd"] = Herd.objects.editable_by(request.user).filter(closed_on__isnull=True).exists()
    return render(request, "grading/review_list.html", context)


@require_safe
def review_detail(request, pk):
    """One review: for its owner both sides of each animal; for its mentor, while they grade, what was asked."""
    review = seen_review(request, pk)
    actions.mark_seen(member=request.user, review=review)
    return render(request, "grading/review_detail.html", page_of(request, review))


def seen_review(request, pk):
    reviews = Review.objects.visible_to(request.user).select_related("herd", "mentor", "asked_by", "litter__dam")
    return get_object_or_404(reviews, pk=pk)


def own_review(request, pk):
    reviews = Review.objects.editable_by(request.user).select_related("herd", "mentor", "asked_by")
    return get_object_or_404(reviews, pk=pk)


def page_of(request, review, **more):
    """Context of templates/grading/review_detail.html."""
    is_mentor = review.mentor_id == request.user.pk
    blind = is_mentor and review.is_open
    sides = [] if blind else list(reading.sides_of(review, request.user))
    over = review.state == ReviewState.WITHDRAWN
    return {
        "review": review,
        "is_mentor": is_mentor,
        "blind": blind,
        "count": review.animals.count() if blind else len(sides),
        "answered": review.state == ReviewState.ANSWERED,
        "sides": sides,
        "closed_animals": [] if blind else reading.closed_to_mentor(review, sides),
        "talk": list(reading.whole_talk(review, blind=blind)),
        "earlier_words": blind and review.handed_on_at is not None,
        "under_animals": reading.words_waiting(review) if blind else [],
        "may_talk": not over and not request.user.is_youth,
        "word_form": WordForm(),
        "until_form": UntilForm(initial={"ends_on": default_end()}),
        "ran_out": review.ends_on < timezone.localdate(),
        "open_wishes": sum(wish.settled_at is None for side in sides for wish in side.wishes),
        **more,
    }


@require_POST
@sent_once
def review_take(request, pk):
    """Take a request that was put to me, or one from the queue; whoever is second reads so."""
    review = Review.objects.filter(pk=pk).first()
    asked = review is not None and Review.objects.for_mentor(request.user).filter(pk=pk).exists()
    if not asked and (request.user.is_youth or not request.user.takes_reviews):
        raise Http404
    try:
        if review is None:
            raise ValidationError(actions.GONE_FROM_QUEUE)
        taken = actions.take_review(review=review, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("review-list")
    return redirect(taken)


@require_http_methods(["GET", "POST"])
def review_hand_on(request, pk):
    """The mentor gives a request back to the club's queue; GET asks first."""
    reviews = Review.objects.for_mentor(request.user).open().select_related("herd")
    review = get_object_or_404(reviews, pk=pk)
    if request.method == "POST":
        return _done(request, actions.hand_on, "The request is in the club's queue.", to="review-list", review=review)
    wrote = " What you wrote stays readable for the owner; drawings go." if review.state == ReviewState.TAKEN else ""
    context = {
        "title": "Hand the request on?",
        "text": f"It goes to the club's queue for another mentor, and the animals of {review.herd} that were opened to "
        f"you for it are closed.{wrote}",
        "confirm_label": "Hand it on",
        "cancel_url": review.get_absolute_url(),
    }
    return render(request, "confirm.html", context)


@require_http_methods(["GET", "POST"])
def review_withdraw(request, pk):
    """The owner takes the request back; GET asks first."""
    review = own_review(request, pk)
    if not review.is_open:
        messages.info(request, "This review is over, so there is nothing to take back.")
        return redirect(review)
    if request.method == "POST":
        return _done(request, actions.withdraw_review, "The request is taken back.", to=review, review=review)
    whom = f"{review.mentor} sees these animals no longer" if review.mentor else "Nobody has it yet"
    context = {
        "title": "Take the request back?",
        "text": f"{whom}. What was begun is not answered any more, and you can ask anew.",
        "confirm_label": "Take it back",
        "cancel_url": review.get_absolute_url(),
        "danger": True,
    }
    return render(request, "confirm.html", context)


@require_POST
def review_prolong(request, pk):
    """Another last day."""
    review = own_review(request, pk)
    form = UntilForm(posted(request))
    if form.is_valid():
        done = form.carry_out(actions.prolong_review, review=review, by=request.user, **form.cleaned_data)
        if done:
            messages.success(request, f"Open until {done.ends_on:%-d %B %Y}.")
            return redirect(review)
    context = page_of(request, review, until_form=form)
    return render(request, "grading/review_detail.html", context, status=form.status)


@require_POST
@sent_once
def review_word_create(request, pk):
    """A word under the whole review, or under one of its animals; given back where the review is closed meanwhile."""
    review = Review.objects.visible_to(request.user).filter(pk=pk).first()
    if review is None:
        return reviewing.closed(request, actions.CLOSED_TO_WORDS)
    review = seen_review(request, pk)
    of = request.POST.get("of", "")
    about = get_object_or_404(review.animals, pk=int(of) if of.isdecimal() and len(of) < 19 else 0) if of else None
    grades = about is not None and review.mentor_id == request.user.pk and review.is_open
    if grades and about.graded_at is None:
        raise Http404  # blind still: which animal it is about is not told
    if grades:
        try:
            reviewing.keep_along(request, about)
        except reviewing.actions.ReviewClosed as refusal:
            return reviewing.closed(request, str(refusal))
    form = WordForm(posted(request))
    given = {"review": review, "of": about, "by": request.user}
    if form.is_valid() and form.carry_out(actions.say, **given, **form.cleaned_data):
        if grades:
            return redirect(f"{reverse('review-animal', args=[pk, about.position])}#talk-{about.pk}")
        return redirect(f"{review.get_absolute_url()}#talk{f'-{about.pk}' if about else ''}")
    if grades:
        about.review = review
        return reviewing.page(request, about, word_form=form, talking=about.pk)
    context = page_of(request, review, word_form=form, talking=about.pk if about else 0)
    return render(request, "grading/review_detail.html", context, status=form.status)


@require_POST
def review_act(request, pk):
    """The owner is done with an animal's opinion without a decision."""
    of = get_object_or_404(ReviewAnimal.objects.select_related("review", "animal"), pk=pk)
    actions.act_on(of=of, by=request.user)
    messages.success(request, f"Put aside: {of.animal}.")
    return redirect(f"{of.review.get_absolute_url()}#animal-{of.pk}")


@require_POST
def wish_meet(request, pk):
    """One of the photos that are there already shows what was asked for."""
    wish = _own_wish(request, pk)
    form = MeetForm(posted(request), wish=wish, by=request.user)
    if form.is_valid():
        _try(request, actions.meet_wish, "The mentor is told.", wish=wish, photo=form.cleaned_data["photo"])
    else:
        messages.error(request, "Choose a photo of this animal.")
    return redirect(f"{wish.of.review.get_absolute_url()}#animal-{wish.of_id}")


@require_POST
def wish_decline(request, pk):
    """The photo cannot be taken; the mentor reads why."""
    wish = _own_wish(request, pk)
    form = DeclineForm(posted(request))
    if form.is_valid():
        _try(request, actions.decline_wish, "The mentor is told.", wish=wish, why=form.cleaned_data["why"])
    else:
        messages.error(request, " ".join(text for texts in form.errors.values() for text in texts))
    return redirect(f"{wish.of.review.get_absolute_url()}#animal-{wish.of_id}")


def _own_wish(request, pk):
    own = ViewWish.objects.filter(of__review__in=Review.objects.editable_by(request.user).values("pk"))
    return get_object_or_404(own.select_related("of__review"), pk=pk)


def _done(request, action, words, *, to, **given):
    _try(request, action, words, **given)
    return redirect(to)


def _try(request, action, words, **given):
    try:
        action(by=request.user, **given)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, words)
