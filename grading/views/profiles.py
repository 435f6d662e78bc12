"""Breed profiles as members read them."""

from django.db.models import Count, Prefetch, Q
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from grading.look_sheet import SECTIONS
from grading.models import Look, Position
from grading.profiles.documents import section_of
from grading.profiles.words import weight_bands
from herds.units import weight_words

from .edition_pages import readable_editions


@require_safe
def profile_list(request):
    """The profiles that the member may read, by breed; drafts by themselves."""
    today = timezone.localdate()
    rows = readable_editions(request.user).annotate(
        trait_count=Count("traits", distinct=True),
        in_force=Q(in_force_from__lte=today) & (Q(in_force_until__isnull=True) | Q(in_force_until__gte=today)),
    )
    context = {
        "profiles": [row for row in rows if row.published_at],
        "drafts": [row for row in rows if not row.published_at],
        "today": today,
    }
    return render(request, "grading/profile_list.html", context)


@require_safe
def profile_detail(request, pk):
    """One edition: points, classes, traits with described steps and goals, and what findings mean."""
    profile = get_object_or_404(readable_editions(request.user), pk=pk)
    parts = Position.objects.order_by("position")
    positions = list(profile.positions.filter(parent=None).prefetch_related(Prefetch("parts", parts)))
    bands, classes = section_of(profile, "weight_bands"), section_of(profile, "age_classes")
    context = {
        "profile": profile,
        "positions": positions,
        "floors": any(row.floor is not None for whole in positions for row in (whole, *whole.parts.all())),
        "weights": weight_rows(profile, request.user.weight_unit),
        "bands": weight_bands(bands, classes, request.user.weight_unit).values(),
        "sections": trait_sections(profile),
        "findings": profile.findings.select_related("kind"),
        "looks": Look.objects.filter(profile=profile).count() if request.user.is_officer else None,
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
