from . import barn, beliefs, calibration, looks, photos, practice, profiles, reviewing, reviews, sires

urlpatterns = [
    *looks.urlpatterns,
    *photos.urlpatterns,
    *profiles.urlpatterns,
    *sires.urlpatterns,
    *beliefs.urlpatterns,
    *reviews.urlpatterns,
    *reviewing.urlpatterns,
    *barn.urlpatterns,
    *calibration.urlpatterns,
    *practice.urlpatterns,
]
