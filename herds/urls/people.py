"""Addresses of keeping herds: beginning, sharing, owners, mentor grants."""

from django.urls import path

from herds.views import changes, grants, herds

urlpatterns = [
    path("herds/new/", herds.herd_create, name="herd-create"),
    path("herds/<slug:slug>/edit/", herds.herd_update, name="herd-update"),
    path("herds/<slug:slug>/close/", herds.herd_close, name="herd-close"),
    path("herds/<slug:slug>/reopen/", herds.herd_reopen, name="herd-reopen"),
    path("herds/<slug:slug>/owners/", herds.herd_owners, name="herd-owners"),
    path("herds/<slug:slug>/owners/<int:pk>/end/", herds.owner_end, name="owner-end"),
    path("herds/<slug:slug>/grant/", grants.grant_create, name="grant-create"),
    path("grants/", grants.grant_list, name="grant-list"),
    path("grants/<int:pk>/", grants.grant_update, name="grant-update"),
    path("grants/<int:pk>/changes/", changes.grant_changes, name="grant-changes"),
    path("grants/<int:pk>/revoke/", grants.grant_revoke, name="grant-revoke"),
    path("animal-grants/<int:pk>/revoke/", grants.animal_grant_revoke, name="animal-grant-revoke"),
]
