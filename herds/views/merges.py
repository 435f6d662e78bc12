"""Possible duplicates: the registrar makes two cards one, says that they are two, or takes a merge back."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clubsite.forms import carried_out, posted
from clubsite.htmx import go, page_or_part
from clubsite.members.sent_once import sent_once
from herds.actions.merges import declare_apart, merge_cards, offer_pair, relations, undo_merge
from herds.forms.merges import MergeForm, PairForm
from herds.models import Animal, Mark, Merge, PossibleDuplicate
from herds.words import day_words

CARD = ("breed", "herd", "bred_in", "sire", "dam")


@require_http_methods(["GET", "POST"])
@sent_once
def duplicate_list(request):
    """Pairs that wait, merges that were made, and a form to name a pair by hand."""
    if not request.user.is_registrar:
        raise Http404
    form = PairForm(posted(request), member=request.user)
    if form.is_valid():
        pair = carried_out(form, offer_pair, by=request.user, **form.cleaned_data)
        if pair:
            return go(request, "duplicate-detail", pair.pk)
    pairs = PossibleDuplicate.objects.visible_to(request.user).open()
    page = Paginator(pairs.select_related("first__herd", "second__herd"), 25).get_page(request.GET.get("page"))
    merges = Merge.objects.visible_to(request.user).select_related("kept", "made_by", "undone_by")[:30]
    context = {"page": page, "merges": merges, "form": form}
    return render(request, "herds/duplicate_list.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
@sent_once
def duplicate_detail(request, pk):
    """Both cards beside one another; one of them stays."""
    pairs = PossibleDuplicate.objects.editable_by(request.user).open()
    pair = get_object_or_404(pairs, pk=pk)
    cards = list(Animal.objects.filter(pk__in=[pair.first_id, pair.second_id]).select_related(*CARD).order_by("pk"))
    form = MergeForm(posted(request), pair=cards)
    if form.is_valid():
        keep = next(card for card in cards if card.pk == form.cleaned_data["keep"])
        gone = next(card for card in cards if card is not keep)
        reason = form.cleaned_data["reason"]
        merge = carried_out(form, merge_cards, keep=keep, gone=gone, reason=reason, by=request.user)
        if merge:
            undo = reverse("merge-undo", args=[merge.pk])
            messages.success(request, f"{merge.gone_words} is now one with {merge.kept}.", extra_tags=undo)
            return go(request, merge.kept)
    context = {"pair": pair, "form": form, "beside": beside(cards), "cards": cards}
    return page_or_part(request, "herds/duplicate_detail.html", "form", context, status=422 if form.errors else 200)


def beside(cards):
    """(label, what the first card says, what the second says) of everything that tells them apart."""
    marks: dict = {card.pk: [] for card in cards}
    for mark in Mark.objects.current().filter(animal__in=cards).as_read():
        marks[mark.animal_id].append(f"{mark.text} ({mark.get_kind_display()})")
    counts = {card.pk: counted(card) for card in cards}
    rows = [
        ("Marks", [", ".join(marks[card.pk]) for card in cards]),
        ("Name", [card.name for card in cards]),
        ("Sex", [card.get_sex_display() for card in cards]),
        ("Born", [day_words(card.born_on) for card in cards]),
        ("Sire", [str(card.sire or "") for card in cards]),
        ("Dam", [str(card.dam or "") for card in cards]),
        ("Breeder", [card.breeder for card in cards]),
        ("Herd", [str(card.herd or "outside the club") for card in cards]),
    ]
    labels = dict.fromkeys(label for found in counts.values() for label in found)
    rows += [(label, [str(counts[card.pk].get(label, 0)) for card in cards]) for label in labels]
    return [(label, *said, said[0] != said[1]) for label, said in rows]


def counted(card):
    """How much hangs on a card, by kind, leaving out what is nothing."""
    found: dict = {}
    for _label, model, field in relations():
        if model is Mark:  # told by name above
            continue
        if number := model._base_manager.filter(**{field: card}).count():
            words = "progeny" if model is Animal else str(model._meta.verbose_name_plural)
            label = words.capitalize()
            found[label] = found.get(label, 0) + number
    return found


@require_POST
def duplicate_apart(request, pk):
    pair = get_object_or_404(PossibleDuplicate.objects.editable_by(request.user), pk=pk)
    try:
        declare_apart(pair=pair, by=request.user)
        messages.success(request, f"{pair} are two animals.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return go(request, "duplicate-list")


@require_POST
def merge_undo(request, pk):
    merge = get_object_or_404(Merge.objects.editable_by(request.user), pk=pk)
    try:
        undo_merge(merge=merge, by=request.user)
        messages.success(request, f"{merge.gone_words} has its own card again.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return go(request, "duplicate-list")


@require_GET
def merged_into(request, pk):
    """For an address of a card that went: the card it became. Raises Http404 when there is none."""
    merge = Merge.objects.standing().filter(gone=pk).select_related("kept").order_by("-pk").first()
    if merge is None or not Animal.objects.visible_to(request.user).filter(pk=merge.kept_id).exists():
        raise Http404
    return go(request, merge.kept)
