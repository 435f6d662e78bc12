from django.urls import path

from .views import invitations

urlpatterns = [
    path("invitations/", invitations.invitation_list, name="invitation-list"),
    path("invitations/new/", invitations.invitation_create, name="invitation-create"),
    path("invitations/<int:pk>/", invitations.invitation_detail, name="invitation-detail"),
    path("invitations/<int:pk>/resend/", invitations.invitation_resend, name="invitation-resend"),
    path("invitations/<int:pk>/withdraw/", invitations.invitation_withdraw, name="invitation-withdraw"),
    path("join/<str:token>/", invitations.invitation_accept, name="invitation-accept"),
]
