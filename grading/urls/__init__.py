from . import looks, photos, sires

urlpatterns = [*looks.urlpatterns, *photos.urlpatterns, *sires.urlpatterns]
