from django.urls import path

from grading.views import sires, years

urlpatterns = [
    path("sires/", sires.sire_list, name="sire-list"),
    path("sires/compare/", sires.sire_compare, name="sire-compare"),
    path("sires/<int:pk>/", sires.sire_detail, name="sire-detail"),
    path("years/", years.year_list, name="year-list"),
    path("years/<int:year>/", years.year_detail, name="year-detail"),
]
