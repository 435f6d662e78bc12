"""Addresses of the practice for newcomers."""

from django.urls import path

from grading.views import practice

urlpatterns = [
    path("practice/", practice.practice, name="practice"),
    path("practice/progress/", practice.progress, name="practice-progress"),
    path("practice/<int:pk>/", practice.told, name="practice-told"),
    path("practice/photos/<int:item>/<int:place>/<slug:size>/", practice.photo, name="practice-photo"),
]
