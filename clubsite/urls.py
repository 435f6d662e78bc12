from django.conf import settings
from django.urls import include, path

from clubsite import styleguide, views

urlpatterns = [
    path("", views.club_public, name="club-public"),
    path("healthz", views.healthz, name="healthz"),
    path("account/", include("allauth.urls")),
    path("", include("clubsite.members.urls")),
    path("", include("herds.urls")),
    path("", include("pedigrees.urls")),
    path("", include("grading.urls")),
]

if settings.DEBUG:
    urlpatterns += [path("styleguide/", styleguide.styleguide, name="styleguide")]
