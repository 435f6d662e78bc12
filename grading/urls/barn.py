"""Addresses of the page of a whole herd and of its season's plan."""

from django.urls import path

from grading.views import barn, season_pairs

urlpatterns = [
    path("herds/<slug:slug>/whole/", barn.barn, name="barn"),
    path("herds/<slug:slug>/season/add/", barn.season_create, name="season-create"),
    path("herds/<slug:slug>/season/pairs/", season_pairs.season_pairs, name="season-pairs"),
    path("season/<int:pk>/", barn.season_detail, name="season-detail"),
    path("season/<int:pk>/edit/", barn.season_update, name="season-update"),
    path("season/<int:pk>/take-back/", barn.season_withdraw, name="season-withdraw"),
    path("season/<int:pk>/answer/", barn.season_answer, name="season-answer"),
]
