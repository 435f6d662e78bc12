from . import calibration, looks, photos, profiles, reviewing, reviews, sires

urlpatterns = [
    *looks.urlpatterns,
    *photos.urlpatterns,
    *profiles.urlpatterns,
    *sires.urlpatterns,
    *reviews.urlpatterns,
    *reviewing.urlpatterns,
    *calibration.urlpatterns,
]
