from django.urls import path

from grading.views import changes, look_screens, looks, points

urlpatterns = [
    path("animals/<int:pk>/look/", looks.look_create, name="look-create"),
    path("animals/<int:pk>/looks/", looks.look_list, name="look-list"),
    path("looks/<int:pk>/", looks.look_detail, name="look-detail"),
    path("looks/<int:pk>/changes/", changes.look_changes, name="look-changes"),
    path("looks/<int:pk>/supersede/", looks.look_supersede, name="look-supersede"),
    path("looks/<int:pk>/section/<int:section>/", look_screens.look_section, name="look-section"),
    path("looks/<int:pk>/answer/", look_screens.look_answer, name="look-answer"),
    path("looks/<int:pk>/finding/", look_screens.look_finding, name="look-finding"),
    path("looks/<int:pk>/facts/", look_screens.look_facts, name="look-facts"),
    path("looks/<int:pk>/points/", points.look_points, name="look-points"),
    path("looks/<int:pk>/points/given/", points.look_points_given, name="look-points-given"),
    path("looks/<int:pk>/finish/", look_screens.look_finish, name="look-finish"),
    path("looks/<int:pk>/remove/", look_screens.look_remove, name="look-remove"),
]
