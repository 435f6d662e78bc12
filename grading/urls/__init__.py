from . import calibration, looks, photos, profiles, reviews, sires

urlpatterns = [
    *looks.urlpatterns,
    *photos.urlpatterns,
    *profiles.urlpatterns,
    *sires.urlpatterns,
    *reviews.urlpatterns,
    *calibration.urlpatterns,
]
