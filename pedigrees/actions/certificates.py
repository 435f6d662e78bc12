"""Issuing a certificate, and declaring one void."""

import base64
import io

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone
from PIL import Image, UnidentifiedImageError

from clubsite.constraints import rules_explained
from clubsite.members.models import Club
from herds.finding import one_space
from herds.models import Animal
from herds.words import day_words
from pedigrees.certificate import GENERATIONS, pedigree
from pedigrees.models import Certificate
from pedigrees.numbers import numbered
from pedigrees.paper import qr_svg

LONGEST_PICTURE = 420
NUMBERING = 730_011  # the lock under which numbers are given, so that two registrars never give one twice


def issuable_by(member):
    """Animals for which the member may issue a certificate: their own, and all for the registrar."""
    everybody = Animal.objects.visible_to(member)
    return everybody if getattr(member, "is_registrar", False) else Animal.objects.editable_by(member)


def issue_certificate(*, animal, generations, by):
    """Keeps what will stand on the paper and gives it a number; returns the Certificate."""
    if generations not in GENERATIONS:
        raise ValidationError({"generations": "A certificate shows three or four generations."})
    if not issuable_by(by).filter(pk=animal.pk).exists():
        raise ValidationError("This animal is no longer in a herd of yours, so its owner issues the certificate.")
    club, today = Club.current(), timezone.localdate()
    data = pedigree(animal, generations, by)
    address = f"{settings.PUBLIC_URL}{reverse('animal-detail', args=[animal.pk])}"
    data |= {
        "club": club.name,
        "issued_on": day_words(today),
        "address": address,
        "qr": qr_svg(address),
        "picture": club_picture(club),
    }
    with rules_explained(), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [NUMBERING])
        last = Certificate.objects.filter(number__startswith=f"{today.year}-").order_by("-pk").first()
        count = int(last.number.split("-")[1]) + 1 if last else 1
        return Certificate.objects.create(
            number=numbered(today.year, count),
            animal=animal,
            generations=generations,
            issued_on=today,
            issued_by=by,
            printed=data,
        )


def club_picture(club):
    """The club's picture small enough for paper, as SVG text around a PNG; None without one that can be read."""
    if not club.picture:
        return None
    try:
        with club.picture.open("rb") as file, Image.open(file, formats=["PNG", "JPEG", "WEBP"]) as picture:
            picture = picture.convert("RGBA")
            picture.thumbnail((LONGEST_PICTURE, LONGEST_PICTURE))
    except (OSError, UnidentifiedImageError, Image.DecompressionBombError):
        return None
    out = io.BytesIO()
    picture.save(out, "PNG", optimize=True)
    code = base64.b64encode(out.getvalue()).decode()
    size = 'width="{}" height="{}"'.format(*picture.size)
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}><image {size} href="data:image/png;base64,{code}"/></svg>'


def declare_void(*, certificate, reason, by):
    """The registrar declares a certificate void, with the reason; the paper's number then says so."""
    reason = one_space(reason)
    if not reason:
        raise ValidationError({"reason": "Say why the certificate is void."})
    if len(reason) > 200:
        raise ValidationError({"reason": "Shorten the reason to 200 letters."})
    with rules_explained(), transaction.atomic():
        row = Certificate.objects.revocable_by(by).select_for_update().filter(pk=certificate.pk).first()
        if row is None:
            raise ValidationError("This certificate is void already.")
        row.void_on, row.void_by, row.void_reason = timezone.localdate(), by, reason
        row.save(update_fields=["void_on", "void_by", "void_reason"])
        return row
