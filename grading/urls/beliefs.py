from django.urls import path

from grading.views import beliefs

urlpatterns = [
    path("beliefs/", beliefs.belief_list, name="belief-list"),
    path("beliefs/<slug:slug>/", beliefs.belief_detail, name="belief-detail"),
]
