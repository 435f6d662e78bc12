from django.urls import path

from .views import account, changes, club, invitations, members

urlpatterns = [
    path("members/", members.member_list, name="member-list"),
    path("members/<int:pk>/", members.member_detail, name="member-detail"),
    path("members/<int:pk>/roles/", members.member_roles, name="member-roles"),
    path("members/<int:pk>/shut-out/", members.member_deactivate, name="member-deactivate"),
    path("members/<int:pk>/let-in/", members.member_reactivate, name="member-reactivate"),
    path("members/<int:pk>/close/", members.member_close, name="member-close"),
    path("invitations/", invitations.invitation_list, name="invitation-list"),
    path("invitations/new/", invitations.invitation_create, name="invitation-create"),
    path("invitations/<int:pk>/", invitations.invitation_detail, name="invitation-detail"),
    path("invitations/<int:pk>/resend/", invitations.invitation_resend, name="invitation-resend"),
    path("invitations/<int:pk>/withdraw/", invitations.invitation_withdraw, name="invitation-withdraw"),
    path("invitations/<int:pk>/forget/", invitations.invitation_forget, name="invitation-forget"),
    path("join/<str:token>/", invitations.invitation_accept, name="invitation-accept"),
    path("changes/", changes.change_list, name="change-list"),
    path("changes/changes.csv", changes.change_csv, name="change-csv"),
    path("club/settings/", club.club_settings, name="club-settings"),
    path("club/picture/<str:name>", club.club_picture, name="club-picture"),
    path("account/", account.account, name="account"),
    path("account/profile/", account.profile_update, name="profile-update"),
    path("account/data/", account.account_data, name="account-data"),
    path("account/close/", account.account_close, name="account-close"),
]
