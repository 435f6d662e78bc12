"""Addresses of herds' lists, animals, marks, decisions, quarantine and transfers."""

from django.urls import path

from herds.views import animals, changes, decisions, find, health, herd, identity, quarantine, transfers

urlpatterns = [
    path("herds/", herd.herd_list, name="herd-list"),
    path("herds/<slug:slug>/", herd.herd_detail, name="herd-detail"),
    path("herds/<slug:slug>/animals.csv", herd.herd_csv, name="herd-csv"),
    path("herds/<slug:slug>/sheet.csv", herd.herd_sheet, name="herd-sheet-csv"),
    path("herds/<slug:slug>/decide/", herd.herd_decide, name="herd-decide"),
    path("herds/<slug:slug>/status/", herd.herd_status, name="herd-status"),
    path("find/", find.find_anything, name="find"),
    path("animals/", animals.animal_list, name="animal-list"),
    path("animals/animals.csv", animals.animal_csv, name="animal-csv"),
    path("animals/new/", animals.animal_create, name="animal-create"),
    path("animals/suggest/", animals.animal_suggest, name="animal-suggest"),
    path("animals/<int:pk>/", animals.animal_detail, name="animal-detail"),
    path("animals/<int:pk>/edit/", identity.animal_update, name="animal-update"),
    path("animals/<int:pk>/correct/", identity.animal_correct, name="animal-correct"),
    path("animals/<int:pk>/status/", animals.animal_status, name="animal-status"),
    path("animals/<int:pk>/changes/", changes.animal_changes, name="animal-changes"),
    path("herds/<slug:slug>/changes/", changes.herd_changes, name="herd-changes"),
    path("animals/<int:pk>/mark/", identity.mark_create, name="mark-create"),
    path("animals/<int:pk>/decide/", decisions.decision_create, name="decision-create"),
    path("animals/<int:pk>/quarantine/", quarantine.quarantine_create, name="quarantine-create"),
    path("animals/<int:pk>/transfer/", transfers.transfer_create, name="transfer-create"),
    path("animals/<int:pk>/health/", health.health_create, name="health-create"),
    path("litters/<int:pk>/health/", health.litter_health_create, name="litter-health-create"),
    path("health/<int:pk>/correct/", health.health_correct, name="health-correct"),
    path("health/<int:pk>/end/", health.health_end, name="health-end"),
    path("health/<int:pk>/reopen/", health.health_reopen, name="health-reopen"),
    path("herds/<slug:slug>/health/", health.herd_health, name="herd-health"),
    path("marks/<int:pk>/replace/", identity.mark_replace, name="mark-replace"),
    path("decisions/<uuid:batch>/undo/", decisions.decision_undo, name="decision-undo"),
    path("quarantine/<int:pk>/end/", quarantine.quarantine_end, name="quarantine-end"),
    path("transfers/", transfers.transfer_list, name="transfer-list"),
    path("transfers/<int:pk>/", transfers.transfer_detail, name="transfer-detail"),
    path("transfers/<int:pk>/answer/", transfers.transfer_answer, name="transfer-answer"),
]
