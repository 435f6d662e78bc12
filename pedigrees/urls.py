from django.urls import path

from pedigrees.views import cards, certificates

urlpatterns = [
    path("animals/<int:pk>/certificate/", certificates.certificate_create, name="certificate-create"),
    path("certificates/", certificates.certificate_list, name="certificate-list"),
    path("certificates/<str:number>/", certificates.certificate_detail, name="certificate-detail"),
    path("certificates/<str:number>/certificate.pdf", certificates.certificate_file, name="certificate-file"),
    path("herds/<slug:slug>/cards/", cards.cage_cards, name="cage-cards"),
    path("herds/<slug:slug>/cards.pdf", cards.cage_cards_file, name="cage-cards-file"),
]
