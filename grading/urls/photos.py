"""Addresses of photos: pages by animal, and each photo by its key."""

from django.urls import path

from grading.views import photo, photos, step_pictures

urlpatterns = [
    path("animals/<int:pk>/photos/", photos.photo_list, name="photo-list"),
    path("animals/<int:pk>/photos/new/", photos.photo_create, name="photo-create"),
    path("animals/<int:pk>/photos/strip/", photos.photo_strip, name="photo-strip"),
    path("photos/<uuid:key>/", photo.photo_detail, name="photo-detail"),
    path("photos/<uuid:key>/file/<slug:size>/", photo.photo_file, name="photo-file"),
    path("photos/<uuid:key>/change/", photo.photo_update, name="photo-update"),
    path("photos/<uuid:key>/withdraw/", photo.photo_withdraw, name="photo-withdraw"),
    path("photos/<uuid:key>/restore/", photo.photo_restore, name="photo-restore"),
    path("photos/<uuid:key>/dismiss/", photo.photo_dismiss, name="photo-dismiss"),
    path("photos/<uuid:key>/again/", photo.photo_again, name="photo-again"),
    path("photos/<uuid:key>/figure/", photo.photo_state, {"part": "figure"}, name="photo-figure"),
    path("photos/<uuid:key>/state/", photo.photo_state, {"part": "state"}, name="photo-state"),
    path("profiles/steps/<int:pk>/picture/", step_pictures.step_picture, name="step-picture"),
]
