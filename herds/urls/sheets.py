"""Addresses of sheets that are brought in."""

from django.urls import path

from herds.views import sheets

urlpatterns = [
    path("sheets/", sheets.sheet_list, name="sheet-list"),
    path("sheets/new/", sheets.sheet_create, name="sheet-create"),
    path("sheets/<uuid:key>/", sheets.sheet_detail, name="sheet-detail"),
    path("sheets/<uuid:key>/progress/", sheets.sheet_progress, name="sheet-progress"),
    path("sheets/<uuid:key>/columns/", sheets.sheet_columns, name="sheet-columns"),
    path("sheets/<uuid:key>/answers/", sheets.sheet_answer, name="sheet-answer"),
    path("sheets/<uuid:key>/bring-in/", sheets.sheet_agree, name="sheet-agree"),
    path("sheets/<uuid:key>/take-back/", sheets.sheet_undo, name="sheet-undo"),
    path("sheets/<uuid:key>/delete/", sheets.sheet_drop, name="sheet-drop"),
    path("sheets/<uuid:key>/file/", sheets.sheet_file, name="sheet-file"),
]
