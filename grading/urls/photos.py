from django.urls import path

from grading.views import photos

urlpatterns = [
    path("animals/<int:pk>/photos/", photos.photo_list, name="photo-list"),
    path("animals/<int:pk>/photos/new/", photos.photo_create, name="photo-create"),
    path("photos/<uuid:key>/", photos.photo_detail, name="photo-detail"),
    path("photos/<uuid:key>/file/<slug:size>/", photos.photo_file, name="photo-file"),
]
