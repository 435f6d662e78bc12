"""The mentor's work on a review, animal by animal, blind until each grading is saved."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clubsite.forms import refuse
from clubsite.htmx import wants_part
from grading import photo_serving as serving
from grading import review_work as reading
from grading.actions import reviewing as actions
from grading.forms.reviewing import AdviceForm, DrawForm, FinishForm, GradingForm, RefuseForm, WishForm
from grading.forms.reviews import WordForm
from grading.look_post import given_at
from grading.look_sheet import field_name, step_of
from grading.models import Photo, ProfileFinding, Review, ReviewAnimal
from grading.review_reading import talk_of

PLACES = (("x1", "from, across"), ("y1", "from, down"), ("x2", "to, across"), ("y2", "to, down"))
KEPT = ("advice", "opinion", "opinion_reason")  # sent along as kept_advice and so on by the other forms of the page
TYPED = ("advice", "opinion_reason", "kept_advice", "kept_opinion_reason", "why", "words", "summary", "why_open")


def closed(request, sentence=actions.CLOSED):
    """The review is closed to the mentor: nothing of it is shown, and what they typed is given back to them."""
    typed = [text for name in TYPED if (text := request.POST.get(name, "").strip())]
    known = Review.objects.for_mentor(request.user).filter(pk=request.resolver_match.kwargs["pk"])
    if not typed and not known.exists():
        raise Http404
    if request.method == "POST" and wants_part(request):
        return render(request, "grading/reviewing_closed.html#sentence", {"sentence": sentence}, status=409)
    return render(request, "grading/reviewing_closed.html", {"sentence": sentence, "typed": typed}, status=409)


def worked_on(request, pk):
    """The review if its mentor may answer it now, else None."""
    rows = Review.objects.answerable_by(request.user).select_related("herd", "asked_by")
    return rows.filter(pk=pk).first()


@require_http_methods(["GET", "POST"])
def work(request, pk):
    """To the first animal that is not done; a POST begins its look in the same step."""
    review = worked_on(request, pk)
    if review is None:
        return closed(request)
    position = reading.next_open(reading.progress_of(review))
    if position is None:
        return redirect("review-finish", pk)
    return onward(request, review, position) if request.method == "POST" else redirect("review-animal", pk, position)


def onward(request, review, position):
    """Begin the look at that place and go there."""
    of = review.animals.filter(position=position).first()
    if of is not None and of.graded_at is None and not of.photo_problem:
        try:
            actions.begin_look(of=of, by=request.user)
        except (ValidationError, actions.ReviewClosed) as refusal:
            messages.error(request, " ".join(getattr(refusal, "messages", [str(refusal)])))
    return redirect("review-animal", review.pk, position)


@require_http_methods(["GET", "POST"])
def animal(request, pk, position):
    """One animal: its photos and scales; after the grading both sides and the advice. POSTs say what to do in `do`."""
    review = worked_on(request, pk)
    if review is None:
        return closed(request)
    rows = review.animals.select_related("animal", "look__profile", "look__age_class")
    of = get_object_or_404(rows, position=position)
    of.review = review
    if request.method == "GET":
        return page(request, of)
    step = STEPS.get(request.POST.get("do", ""))
    if step is None:
        raise Http404
    try:
        keep_along(request, of)
        return step(request, of)
    except actions.ReviewClosed as refusal:
        return closed(request, str(refusal))


def keep_along(request, of):
    """Advice that stood unsaved on the page while another of its forms was sent."""
    if "kept_advice" in request.POST:
        typed = {name: request.POST.get(f"kept_{name}", "") for name in KEPT}
        kept = actions.keep_advice(of=of, by=request.user, **typed)
        for name in KEPT:
            setattr(of, name, getattr(kept, name))


def page(request, of, **forms):
    """The page of one animal as it stands, with forms that were refused in place of empty ones."""
    if not actions.is_open(of, request.user):
        return closed(request, actions.ANIMAL_CLOSED)
    graded = of.graded_at is not None
    photos = reading.photos_of(of, request.user, others=reading.neighbours(of))
    progress = reading.progress_of(of.review)
    context = {
        "of": of,
        "review": of.review,
        "graded": graded,
        "photos": photos,
        "progress": progress,
        "total": len(progress),
        "before": of.position - 1 or None,
        "after": of.position + 1 if of.position < len(progress) else None,
        "wishes": reading.wishes_of(of),
        "wish_form": WishForm(),
        "refuse_form": RefuseForm(initial={"why": of.photo_problem}),
        "draw_form": DrawForm(),
        "places": PLACES,
        "shared": not graded and reading.others_looks(of, request.user).exists(),
    }
    if of.look is not None and not graded:
        context["sections"] = reading.Sheet(of, {photo.code for photo in photos}).sections()
        context["grading_form"] = GradingForm(initial={"coat_stage": of.look.coat_stage}, kinds=kinds_of(of))
    if graded or of.photo_problem:
        initial = {"advice": of.advice, "opinion": of.opinion, "opinion_reason": of.opinion_reason}
        context["advice_form"] = AdviceForm(initial=initial)
    if graded:
        context["side"] = reading.side_of(of, request.user)
        context |= {"talk": talk_of(of), "may_talk": True, "word_form": WordForm()}
    context |= forms
    bad = any(getattr(form, "errors", None) for form in forms.values()) or forms.get("error")
    return render(request, "grading/reviewing_animal.html", context, status=422 if bad else 200)


def kinds_of(of):
    return list(
        ProfileFinding.objects.filter(profile=of.look.profile_id).select_related("kind").order_by("kind__position")
    )


def begin(request, of):
    """Begin its look, also where the photos were refused at first; a refusal is said on the page."""
    try:
        actions.begin_look(of=of, by=request.user)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return redirect("review-animal", of.review_id, of.position)


def grade(request, of):
    """Save every step of the form, then the grading itself."""
    if of.look is None:
        return onward(request, of.review, of.position)
    photos = reading.photos_of(of, request.user)
    sheet = reading.Sheet(of, {photo.code for photo in photos})
    form = GradingForm(request.POST, kinds=kinds_of(of))
    try:
        answers = [
            (trait, site, step_of(trait, request.POST[field_name(trait, site)]))
            for trait, site in sheet.asked()
            if request.POST.get(field_name(trait, site))
        ]
        if answers and not of.graded_at:
            actions.save_steps(of=of, answers=answers, by=request.user, given_at=given_at(request))
        if form.is_valid():
            actions.save_grading(of=of, by=request.user, **form.cleaned_data)
            return redirect("review-animal", of.review_id, of.position)
    except ValidationError as refusal:
        return page(request, of, grading_form=form, error=" ".join(refusal.messages))
    return page(request, of, grading_form=form)


def refuse_photos(request, of):
    """The photos are not good enough; on to the next animal."""
    return carried(request, of, RefuseForm(request.POST), "refuse_form", actions.refuse_photos, then=next_one)


def advise(request, of):
    """Advice and opinion, and on to the next animal."""
    return carried(request, of, AdviceForm(request.POST), "advice_form", actions.advise, then=next_one)


def wish(request, of):
    """Ask for another view; the page stays."""
    done = "The owner is asked for it, with the picture guide."
    return carried(request, of, WishForm(request.POST), "wish_form", actions.wish_view, said=done)


def carried(request, of, form, name, action, *, then=None, said=""):
    """Carry an action out with a form's values; a refusal stays on the page with what was typed."""
    if form.is_valid():
        try:
            action(of=of, by=request.user, **form.cleaned_data)
        except ValidationError as refusal:
            refuse(form, refusal)
        else:
            if said:
                messages.success(request, said)
            return then(request, of) if then else redirect("review-animal", of.review_id, of.position)
    return page(request, of, **{name: form})


def next_one(request, of):
    position = reading.next_open(reading.progress_of(of.review), after=of.position)
    return onward(request, of.review, position) if position else redirect("review-finish", of.review_id)


def draw(request, of):
    """An arrow or a box on one of the photos."""
    form = DrawForm(request.POST)
    photo = Photo.objects.filter(animal=of.animal_id, key=valid_key(request.POST.get("photo", ""))).first()
    if photo is None:
        return not_drawn(request, of, "That photo is not one of this animal's. Open the page again.")
    if form.is_valid():
        try:
            actions.draw(of=of, photo=photo, by=request.user, **form.drawing())
        except ValidationError as refusal:
            return not_drawn(request, of, " ".join(refusal.messages))
        return redirect(f"{request.path}#photo-{photo.key}")
    return not_drawn(request, of, "The drawing was not understood: give all four places in percent.")


def not_drawn(request, of, error):
    """Say why, and give the words back."""
    words = request.POST.get("words", "").strip()[:1000]
    return page(request, of, error=f"{error} You had written: “{words}”" if words else error)


def valid_key(text):
    from uuid import UUID

    try:
        return UUID(text)
    except ValueError:
        return None


def undraw(request, of):
    """Take a drawing away."""
    key = request.POST.get("drawing", "")
    drawing = get_object_or_404(
        of.drawings.select_related("of"), pk=int(key) if key.isdecimal() and len(key) < 19 else 0
    )
    actions.remove_drawing(drawing=drawing, by=request.user)
    return redirect("review-animal", of.review_id, of.position)


STEPS = {
    "begin": begin,
    "grade": grade,
    "refuse": refuse_photos,
    "advise": advise,
    "wish": wish,
    "draw": draw,
    "undraw": undraw,
}


@require_POST
def answer(request, pk, position):
    """One touch on a scale; answers the scale as it stands now."""
    review = worked_on(request, pk)
    if review is None:
        return closed(request)
    rows = review.animals.select_related("animal", "look__profile", "look__age_class")
    of = get_object_or_404(rows, position=position)
    if of.look is None or not wants_part(request):
        return redirect("review-animal", pk, position)
    sheet = reading.Sheet(of, set(reading.VIEWS))
    sheet.sheet.code = request.GET.get("trait", "")
    row, site = sheet.sheet.row(sheet.sheet.code), request.GET.get("site", "")
    if row is None or not row.trait.photo_can_show or site not in (row.trait.sites or [""]):
        raise Http404
    saved = error = ""
    try:
        step = step_of(row.trait, request.POST.get(field_name(row.trait, site), ""))
        actions.save_steps(of=of, answers=[(row.trait, site, step)], by=request.user, given_at=given_at(request))
        sheet.sheet.show(row.trait, site, step)
        saved = "Saved"
    except ValidationError as refusal:
        error = " ".join(refusal.messages)
    except actions.ReviewClosed as refusal:
        return closed(request, str(refusal))
    scale = sheet.scale(row, site, saved=saved, error=error)
    return render(request, "components/scale.html", {"scale": scale}, status=422 if error else 200)


@require_http_methods(["GET", "POST"])
def finish(request, pk):
    """What is still open, the summary, and sending the answer."""
    review = worked_on(request, pk)
    if review is None:
        return closed(request)
    progress = reading.progress_of(review)
    left = [position for position, state in progress if state != "done"]
    form = FinishForm(request.POST or None, initial={"summary": review.summary}, open_ones=len(left))
    if form.is_valid():
        try:
            done = actions.finish_review(review=review, by=request.user, **form.cleaned_data)
        except ValidationError as refusal:
            refuse(form, refusal)
        except actions.ReviewClosed as refusal:
            return closed(request, str(refusal))
        else:
            messages.success(request, f"Your answer is with {review.asked_by}.")
            return redirect(done)
    context = {"review": review, "form": form, "left": left, "progress": progress}
    return render(request, "grading/reviewing_finish.html", context, status=422 if form.errors else 200)


@require_safe
def photo(request, of, key, size):
    """A photo for the mentor who works on it; its file's name does not say whose it is."""
    reviews = Review.objects.answerable_by(request.user)
    row = get_object_or_404(ReviewAnimal.objects.filter(review__in=reviews), pk=of)
    found = get_object_or_404(Photo.objects.visible_to(request.user).shown(), key=key, animal=row.animal_id)
    if size not in ("320", "1024", "2048"):
        raise Http404
    return serving.answer(request, found, size, called=f"animal {row.position} {found.view}")
