from django.urls import path

from grading.views import look_screens, looks, profiles

urlpatterns = [
    path("animals/<int:pk>/look/", looks.look_create, name="look-create"),
    path("animals/<int:pk>/looks/", looks.look_list, name="look-list"),
    path("looks/<int:pk>/", looks.look_detail, name="look-detail"),
    path("looks/<int:pk>/supersede/", looks.look_supersede, name="look-supersede"),
    path("looks/<int:pk>/section/<int:section>/", look_screens.look_section, name="look-section"),
    path("looks/<int:pk>/answer/", look_screens.look_answer, name="look-answer"),
    path("looks/<int:pk>/finding/", look_screens.look_finding, name="look-finding"),
    path("looks/<int:pk>/facts/", look_screens.look_facts, name="look-facts"),
    path("looks/<int:pk>/finish/", look_screens.look_finish, name="look-finish"),
    path("looks/<int:pk>/remove/", look_screens.look_remove, name="look-remove"),
    path("profiles/", profiles.profile_list, name="profile-list"),
    path("profiles/<int:pk>/", profiles.profile_detail, name="profile-detail"),
]
