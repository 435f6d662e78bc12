"""Addresses of the yearly calibration and of owners' leave to show photos in it."""

from django.urls import path

from grading.views import calibration, calibration_grading, consents

urlpatterns = [
    path("calibrations/", calibration.calibration_list, name="calibration-list"),
    path("calibrations/new/", calibration.calibration_create, name="calibration-create"),
    path("calibrations/<int:pk>/", calibration.calibration_detail, name="calibration-detail"),
    path("calibrations/<int:pk>/open/", calibration.calibration_open, name="calibration-open"),
    path("calibrations/<int:pk>/last-day/", calibration.calibration_extend, name="calibration-extend"),
    path("calibrations/<int:pk>/close/", calibration.calibration_close, name="calibration-close"),
    path("calibrations/<int:pk>/remove/", calibration.calibration_remove, name="calibration-remove"),
    path("calibrations/<int:pk>/places/<int:position>/replace/", calibration.item_replace, name="calibration-replace"),
    path("calibrations/<int:pk>/places/<int:position>/remove/", calibration.item_remove, name="calibration-drop"),
    path("calibrations/<int:pk>/grade/", calibration_grading.seat_take, name="calibration-grade"),
    path("calibrations/<int:pk>/grade/<int:position>/", calibration_grading.place, name="calibration-place"),
    path("calibrations/<int:pk>/grade/<int:position>/answer/", calibration_grading.answer, name="calibration-answer"),
    path("calibrations/<int:pk>/finish/", calibration_grading.finish, name="calibration-finish"),
    path("calibrations/<int:pk>/result/", calibration_grading.result, name="calibration-result"),
    path("calibrations/<int:pk>/name/", calibration_grading.show_name, name="calibration-name"),
    path(
        "calibrations/photos/<int:item>/<int:place>/<slug:size>/", calibration_grading.photo, name="calibration-photo"
    ),
    path("herds/<slug:slug>/photos/open/", consents.herd_consents, name="photo-consents"),
]
