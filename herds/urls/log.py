"""Addresses of the breeding log, weights and today."""

from django.urls import path

from herds.views import kits, litters, matings, today, weights

urlpatterns = [
    path("today/", today.today, name="today"),
    path("today/<slug:key>/done/", today.today_done, name="today-done"),
    path("today/<slug:key>/undo/", today.today_undo, name="today-undo"),
    path("today/<slug:key>/not-needed/", today.today_dismiss, name="today-dismiss"),
    path("today/<slug:key>/needed/", today.today_restore, name="today-restore"),
    path("matings/", matings.mating_list, name="mating-list"),
    path("matings/new/", matings.mating_create, name="mating-create"),
    path("matings/<int:pk>/", matings.mating_detail, name="mating-detail"),
    path("matings/<int:pk>/change/", matings.mating_update, name="mating-update"),
    path("matings/<int:pk>/remove/", matings.mating_delete, name="mating-delete"),
    path("matings/<int:pk>/events/", matings.mating_event, name="mating-event"),
    path("matings/<int:pk>/give-up/", matings.mating_end, name="mating-end"),
    path("matings/<int:pk>/reopen/", matings.mating_reopen, name="mating-reopen"),
    path("mating-events/<int:pk>/remove/", matings.mating_event_remove, name="mating-event-remove"),
    path("litters/", litters.litter_list, name="litter-list"),
    path("litters/new/", litters.litter_create, name="litter-create"),
    path("litters/<int:pk>/", litters.litter_detail, name="litter-detail"),
    path("litters/<int:pk>/change/", litters.litter_update, name="litter-update"),
    path("litters/<int:pk>/remove/", litters.litter_delete, name="litter-delete"),
    path("litters/<int:pk>/events/new/", litters.litter_event, name="litter-event"),
    path("litter-events/<int:pk>/remove/", litters.litter_event_remove, name="litter-event-remove"),
    path("litters/<int:pk>/kits/<slug:sheet>/", kits.kit_list, name="kit-list"),
    path("litters/<int:pk>/none-seen/", kits.kit_none_seen, name="kit-none-seen"),
    path("litters/<int:pk>/foster/", kits.kit_foster, name="kit-foster"),
    path("litters/<int:pk>/marks/", kits.kit_mark, name="kit-mark"),
    path("kits/<int:pk>/bring-back/", kits.kit_bring_back, name="kit-bring-back"),
    path("kits/<int:pk>/<slug:sheet>/", kits.kit_save, name="kit-save"),
    path("weights/new/", weights.weight_create, name="weight-create"),
    path("weights/<int:pk>/remove/", weights.weight_delete, name="weight-delete"),
    path("animals/<int:pk>/weights/", weights.weight_list, name="weight-list"),
    path("weigh/", weights.weigh, name="weigh"),
    path("weigh/<slug:which>/<int:pk>/", weights.weigh_row, name="weigh-row"),
    path("litters/<int:pk>/weigh/", weights.weigh_litter, name="weigh-litter"),
    path("herds/<slug:slug>/weigh/", weights.weigh_herd, name="weigh-herd"),
]
