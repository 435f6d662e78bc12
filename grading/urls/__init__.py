from . import looks, photos, profiles, sires

urlpatterns = [*looks.urlpatterns, *photos.urlpatterns, *profiles.urlpatterns, *sires.urlpatterns]
