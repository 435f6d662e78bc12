from . import beliefs, calibration, looks, photos, practice, profiles, reviewing, reviews, sires

urlpatterns = [
    *looks.urlpatterns,
    *photos.urlpatterns,
    *profiles.urlpatterns,
    *sires.urlpatterns,
    *beliefs.urlpatterns,
    *reviews.urlpatterns,
    *reviewing.urlpatterns,
    *calibration.urlpatterns,
    *practice.urlpatterns,
]
