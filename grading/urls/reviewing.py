"""Addresses of the mentor's work on a review. They name animals by their place, since the grading is blind."""

from django.urls import path

from grading.views import reviewing

urlpatterns = [
    path("reviews/<int:pk>/animals/", reviewing.work, name="review-work"),
    path("reviews/<int:pk>/animals/<int:position>/", reviewing.animal, name="review-animal"),
    path("reviews/<int:pk>/animals/<int:position>/answer/", reviewing.answer, name="review-answer"),
    path("reviews/<int:pk>/finish/", reviewing.finish, name="review-finish"),
    path("reviews/photos/<int:of>/<uuid:key>/<slug:size>/", reviewing.photo, name="review-photo"),
]
