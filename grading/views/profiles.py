"""Breed profiles as members read them."""

from django.db.models import Count, Prefetch, Q
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from grading.look_sheet import SECTIONS
from grading.models import BreedProfile, Position
from herds.units import weight_words


def published():
    return BreedProfile.objects.filter(published_at__isnull=False).select_related("breed")


@require_safe
def profile_list(request):
    """The published profiles, by breed; the one in force first."""
    today = timezone.localdate()
    profiles = published().annotate(
        trait_count=Count("traits", distinct=True),
        in_force=Q(in_force_from__lte=today) & (Q(in_force_until__isnull=True) | Q(in_force_until__gte=today)),
    )
    return render(request, "grading/profile_list.html", {"profiles": profiles})


@require_safe
def profile_detail(request, pk):
    """One edition: points, classes, traits with described steps and goals, and what findings mean."""
    profile = get_object_or_404(published(), pk=pk)
    parts = Position.objects.order_by("position")
    context = {
        "profile": profile,
        "positions": profile.positions.filter(parent=None).prefetch_related(Prefetch("parts", parts)),
        "weights": weight_rows(profile, request.user.weight_unit),
        "sections": trait_sections(profile),
        "findings": profile.findings.select_related("kind"),
    }
    return render(request, "grading/profile_detail.html", context)


def weight_rows(profile, unit):
    """A row per class and sex: ages and weights in the member's unit."""
    rows = []
    for each in profile.age_classes.prefetch_related("weights"):
        until = f"under {each.to_months}" if each.to_months else "and over"
        ages = f"{each.from_months} to {until} months" if each.to_months else f"{each.from_months} months {until}"
        for weight in each.weights.all():
            grams = (weight.lowest_grams, weight.ideal_grams, weight.highest_grams)
            words = [weight_words(value, unit) or "no limit" for value in grams]
            rows.append([each.name, ages, weight.get_sex_display() or "buck and doe", *words])
    return rows


def trait_sections(profile):
    """Per section of the look its traits, each with goal, leeway and described steps."""
    rows = list(profile.traits.select_related("trait").prefetch_related("step_texts"))
    return [
        {"section": section, "rows": [row for row in rows if row.trait.section == section.number]}
        for section in SECTIONS.values()
    ]
