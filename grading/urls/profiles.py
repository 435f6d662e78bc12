"""Addresses of breed profiles: reading them, and an officer's editor of drafts."""

from django.urls import path, register_converter

from grading.views import changes, edition_files, edition_own, edition_parts, editions, profiles


class Code:
    """The code of a trait, a finding, a position or an age class."""

    regex = "[A-Za-z0-9_-]{1,40}"

    def to_python(self, value):
        return value

    def to_url(self, value):
        return value


class Own(Code):
    """What a club adds to the registry."""

    regex = "traits|findings"


register_converter(Code, "code")
register_converter(Own, "own")
EDIT = "profiles/<int:pk>/edit/"

urlpatterns = [
    path("profiles/", profiles.profile_list, name="profile-list"),
    path("profiles/import/", edition_files.edition_import, name="profile-import"),
    path("profiles/words/", edition_own.trait_list, name="trait-list"),
    path("profiles/words/<own:what>/<code:code>/delete/", edition_own.own_delete, name="trait-delete"),
    path("profiles/<int:pk>/changes/", changes.profile_changes, name="profile-changes"),
    path("profiles/<int:pk>/", profiles.profile_detail, name="profile-detail"),
    path("profiles/<int:pk>/compare/", edition_files.edition_compare, name="profile-compare"),
    path("profiles/<int:pk>/file/", edition_files.edition_file, name="profile-file"),
    path("profiles/<int:pk>/copy/", editions.edition_copy, name="profile-copy"),
    path("profiles/<int:pk>/withdraw/", editions.edition_withdraw, name="profile-withdraw"),
    path("profiles/<int:pk>/end/", editions.edition_end, name="profile-end"),
    path(EDIT, editions.edition_desk, name="profile-edit"),
    path(f"{EDIT}head/", edition_parts.edition_head, name="profile-head"),
    path(f"{EDIT}points/", edition_parts.edition_points, name="profile-points"),
    path(f"{EDIT}position/", edition_parts.edition_position, name="profile-position-create"),
    path(f"{EDIT}position/<code:code>/", edition_parts.edition_position, name="profile-position"),
    path(f"{EDIT}ages/", edition_parts.edition_ages, name="profile-ages"),
    path(f"{EDIT}class/", edition_parts.edition_class, name="profile-class-create"),
    path(f"{EDIT}class/<code:code>/", edition_parts.edition_class, name="profile-class"),
    path(f"{EDIT}weights/", edition_parts.edition_bands, name="profile-bands"),
    path(f"{EDIT}traits/", edition_parts.edition_traits, name="profile-traits"),
    path(f"{EDIT}traits/take/", edition_own.traits_take, name="profile-traits-take"),
    path(f"{EDIT}traits/own/", edition_own.trait_create, name="trait-create"),
    path(f"{EDIT}trait/<code:code>/", edition_parts.edition_trait, name="profile-trait"),
    path(f"{EDIT}findings/", edition_parts.edition_findings, name="profile-findings"),
    path(f"{EDIT}findings/own/", edition_own.finding_create, name="finding-create"),
    path(f"{EDIT}remove/<slug:section>/<code:code>/", edition_parts.part_remove, name="profile-part-remove"),
    path(f"{EDIT}publish/", editions.edition_publish, name="profile-publish"),
    path(f"{EDIT}delete/", editions.edition_delete, name="profile-delete"),
]
