"""The certificate's button on the animal's page."""

from django.urls import reverse

from herds.panels import AnimalAction, register


def certificate_url(request, animal):
    """For its keepers and the registrar."""
    if not (animal.is_kept or request.user.is_registrar):
        return None
    return reverse("certificate-create", args=[animal.pk])


def register_parts():
    register(AnimalAction("certificate", "Pedigree certificate", 70, certificate_url, "print"))
