"""Every address of the site: who is let in, and one of each kind of thing to put into it.

GET unless the row says POST; a row names its arguments by their keys in `make_things`.
"""

import io
import uuid
from dataclasses import dataclass, field
from datetime import timedelta

from django.core.files.base import ContentFile
from django.urls import get_resolver
from django.utils import timezone
from PIL import Image

from clubsite.members.models import Club, Invitation
from clubsite.members.models.invitation import hashed
from grading.actions.reviews import ask_review, take_review
from grading.actions.season import propose
from grading.models import EvaluationRun, Trait, ViewWish
from herds.actions.feeds import make_feed_address
from herds.actions.merges import merge_cards, offer_pair
from herds.actions.sheets import agree, answer, bring_sheet
from herds.models import AnimalGrant, Decision, ImportBatch, Line, Mark, MatingEvent, Ownership, Quarantine, Transfer
from pedigrees.actions.certificates import issue_certificate
from pedigrees.models import PlannedMating

from .calibration_making import calibration_things
from .cast import PEOPLE
from .edition_making import edition_things
from .factories import (
    make_animal,
    make_grant,
    make_health_note,
    make_litter,
    make_look,
    make_mating,
    make_member,
    make_profile,
    make_review,
    make_weight,
)
from .photos_made import pictured_step, ready_photo

SIGNED_IN = set(PEOPLE) - {"visitor"}
EVERYBODY = set(PEOPLE)
KEEPERS = {"keeper", "co_owner"}
GRADERS = KEEPERS | {"mentor"}  # whoever may see the looks and photos of the herd
OFFICER, REGISTRAR = {"officer"}, {"registrar"}
NOBODY: set = set()
LIBRARY = ("account_", "mfa_", "usersessions_")  # allauth's own pages about oneself; its tests cover them


@dataclass(frozen=True)
class Row:
    let_in: set
    args: tuple = ()
    method: str = "get"
    refused: int = 404
    query: dict = field(default_factory=dict)


def page(who, *args, **more):
    return Row(who, args, **more)


def post(who, *args, **more):
    return Row(who, args, "post", **more)


ROWS = {
    "club-public": page(EVERYBODY),
    "club-picture": page(EVERYBODY, "picture"),
    "healthz": page(EVERYBODY),
    "invitation-accept": page(EVERYBODY, "token"),
    # people
    "member-list": page(SIGNED_IN),
    "member-detail": page(SIGNED_IN, "fellow"),
    "member-roles": page(OFFICER, "fellow"),
    "member-deactivate": page(OFFICER, "fellow"),
    "member-reactivate": post(OFFICER, "shut_out"),
    "member-close": page(OFFICER, "shut_out"),
    "invitation-list": page(OFFICER),
    "invitation-create": page(OFFICER),
    "invitation-detail": page(OFFICER, "invitation"),
    "invitation-resend": post(OFFICER, "invitation"),
    "invitation-withdraw": post(OFFICER, "invitation"),
    "invitation-forget": post(OFFICER, "invitation"),
    "change-list": page(OFFICER | REGISTRAR),
    "change-csv": page(OFFICER | REGISTRAR),
    "club-settings": page(OFFICER),
    "account": page(SIGNED_IN),
    "profile-update": page(SIGNED_IN),
    "account-data": page(SIGNED_IN),
    "account-close": page(SIGNED_IN),
    # herds and grants
    "herd-list": page(SIGNED_IN),
    "herd-create": page(SIGNED_IN),
    "herd-detail": page(SIGNED_IN, "slug"),
    "herd-csv": page(SIGNED_IN, "slug"),
    "herd-sheet-csv": page(KEEPERS, "slug"),
    "herd-update": page(KEEPERS, "slug"),
    "herd-close": page(KEEPERS, "slug"),
    "herd-reopen": post(KEEPERS, "slug"),
    "herd-owners": page(KEEPERS, "slug"),
    "herd-changes": page(KEEPERS, "slug"),
    "herd-decide": post(KEEPERS, "slug"),
    "herd-status": post(KEEPERS, "slug"),
    "owner-end": page(KEEPERS, "slug", "ownership"),
    "grant-list": page(SIGNED_IN),
    "grant-create": page(KEEPERS, "slug"),
    "grant-update": page(KEEPERS, "grant"),
    "grant-revoke": page(KEEPERS | {"fellow"}, "grant"),
    "grant-changes": page(KEEPERS | {"fellow"}, "grant"),
    # animals
    "find": page(SIGNED_IN),
    "animal-list": page(SIGNED_IN),
    "animal-create": page(SIGNED_IN),
    "animal-csv": page(SIGNED_IN),
    "animal-suggest": page(SIGNED_IN),
    "animal-detail": page(SIGNED_IN, "animal"),
    "animal-update": page(KEEPERS, "animal"),
    "animal-correct": page(REGISTRAR, "animal"),
    "animal-status": page(KEEPERS, "animal"),
    "animal-changes": page(KEEPERS | REGISTRAR, "animal"),
    "mark-create": page(KEEPERS | REGISTRAR, "animal"),
    "mark-replace": page(KEEPERS | REGISTRAR, "mark"),
    "decision-create": page(KEEPERS, "animal"),
    "decision-undo": post(KEEPERS, "batch"),
    "quarantine-create": page(KEEPERS, "animal"),
    "quarantine-end": post(KEEPERS, "quarantine"),
    "health-create": page(KEEPERS, "animal"),
    "litter-health-create": page(KEEPERS, "litter"),
    "health-correct": page(KEEPERS, "health_note"),
    "health-end": post(KEEPERS, "health_note"),
    "health-reopen": post(KEEPERS, "health_note"),
    "herd-health": page(KEEPERS, "slug"),
    "transfer-create": page(KEEPERS, "animal"),
    "transfer-list": page(SIGNED_IN),
    "transfer-detail": page(KEEPERS | REGISTRAR | {"fellow"}, "transfer"),
    "transfer-answer": post(KEEPERS | REGISTRAR | {"fellow"}, "transfer"),
    # the calendar that a program reads under a secret address, and the page that makes it
    "feed": page(EVERYBODY, "feed_token"),
    "feed-address": page(SIGNED_IN),
    "feed-make": post(SIGNED_IN),
    "feed-revoke": post(SIGNED_IN),
    # the log; the keeper shares it with nobody, and the mentor's grant is without it
    "today": page(SIGNED_IN),
    "today-done": post(NOBODY, "no_task"),
    "today-undo": post(NOBODY, "no_task"),
    "today-dismiss": post(NOBODY, "no_task"),
    "today-restore": post(NOBODY, "no_task"),
    "mating-list": page(SIGNED_IN),
    "mating-create": page(SIGNED_IN),
    "mating-detail": page(KEEPERS, "mating"),
    "mating-update": page(KEEPERS, "mating"),
    "mating-delete": page(KEEPERS, "mating"),
    "mating-event": post(KEEPERS, "mating"),
    "mating-end": post(KEEPERS, "mating"),
    "mating-reopen": post(KEEPERS, "mating"),
    "mating-event-remove": post(KEEPERS, "mating_event"),
    "litter-list": page(SIGNED_IN),
    "litter-create": page(SIGNED_IN),
    "litter-detail": page(KEEPERS, "litter"),
    "litter-update": page(KEEPERS, "litter"),
    "litter-delete": page(KEEPERS, "litter"),
    "litter-event": page(KEEPERS, "litter"),
    "litter-event-remove": post(KEEPERS, "litter_event"),
    "kit-list": page(KEEPERS, "litter", "sheet"),
    "kit-none-seen": post(KEEPERS, "litter"),
    "kit-foster": page(KEEPERS, "litter"),
    "kit-mark": page(KEEPERS, "litter"),
    "kit-bring-back": post(KEEPERS, "kit"),
    "kit-save": post(KEEPERS, "kit", "sheet"),
    "weight-create": page(KEEPERS, query={"animal": "animal"}),
    "weight-list": page(KEEPERS, "animal"),
    "weight-delete": page(KEEPERS, "weight"),
    "weigh": page(SIGNED_IN),
    "weigh-row": post(KEEPERS, "animal_word", "animal"),
    "weigh-litter": page(KEEPERS, "litter"),
    "weigh-herd": page(KEEPERS, "slug"),
    # sheets, brought into the keeper's herd
    "sheet-list": page(SIGNED_IN),
    "sheet-create": page(SIGNED_IN),
    "sheet-detail": page(KEEPERS, "sheet_key"),
    "sheet-progress": page(KEEPERS, "busy_sheet_key"),
    "sheet-columns": page(KEEPERS, "sheet_key"),
    "sheet-answer": post(KEEPERS, "sheet_key"),
    "sheet-agree": post(KEEPERS, "sheet_key"),
    "sheet-undo": page(KEEPERS, "done_sheet_key"),
    "sheet-drop": page(KEEPERS, "sheet_key"),
    "sheet-file": page(KEEPERS, "sheet_key"),
    # looks, made by the keeper
    "look-create": page(GRADERS, "animal"),
    "look-list": page(SIGNED_IN, "animal"),
    "look-detail": page(GRADERS, "look"),
    "look-supersede": page({"keeper"}, "look"),
    "look-section": page({"keeper"}, "open_look", "section"),
    "look-answer": post({"keeper"}, "open_look"),
    "look-finding": post({"keeper"}, "open_look"),
    "look-facts": post({"keeper"}, "open_look"),
    "look-points": page({"keeper"}, "open_look"),
    "look-points-given": post({"keeper"}, "open_look"),
    "look-finish": post({"keeper"}, "open_look"),
    "look-remove": page({"keeper"}, "open_look"),
    "look-changes": page(GRADERS, "look"),
    "profile-list": page(SIGNED_IN),
    "profile-detail": page(SIGNED_IN, "profile"),
    "profile-changes": page(OFFICER, "profile"),
    "profile-compare": page(SIGNED_IN, "profile"),
    "profile-file": page(SIGNED_IN, "profile"),
    "profile-copy": page(OFFICER, "profile"),
    "profile-withdraw": page(OFFICER, "profile"),
    "profile-end": page(OFFICER, "profile"),
    "profile-import": page(OFFICER),
    "profile-edit": page(OFFICER, "draft"),
    "profile-head": page(OFFICER, "draft"),
    "profile-points": page(OFFICER, "draft"),
    "profile-position-create": page(OFFICER, "draft"),
    "profile-position": page(OFFICER, "draft", "position_code"),
    "profile-ages": page(OFFICER, "draft"),
    "profile-class-create": page(OFFICER, "draft"),
    "profile-class": page(OFFICER, "draft", "class_code"),
    "profile-bands": page(OFFICER, "draft"),
    "profile-traits": page(OFFICER, "draft"),
    "profile-traits-take": page(OFFICER, "draft"),
    "profile-trait": page(OFFICER, "draft", "trait_code"),
    "profile-findings": page(OFFICER, "draft"),
    "profile-part-remove": page(OFFICER, "draft", "part_word", "position_code"),
    "profile-publish": page(OFFICER, "draft"),
    "profile-delete": page(OFFICER, "draft"),
    "trait-list": page(OFFICER),
    "trait-create": page(OFFICER, "draft"),
    "trait-delete": page(OFFICER, "own_word", "own_code"),
    "finding-create": page(OFFICER, "draft"),
    "step-picture": page(SIGNED_IN, "step"),
    # photos of a herd that shares none with the club
    "photo-list": page(GRADERS, "animal"),
    "photo-strip": page(GRADERS, "animal"),
    "photo-create": page(KEEPERS, "animal"),
    "photo-detail": page(GRADERS, "photo"),
    "photo-file": page(GRADERS, "photo", "size"),
    "photo-figure": page(GRADERS, "photo"),
    "photo-state": page(GRADERS, "photo"),
    "photo-update": post(KEEPERS, "photo"),
    "photo-withdraw": post(KEEPERS, "photo"),
    "photo-restore": post(KEEPERS, "photo"),
    "photo-dismiss": post(KEEPERS, "photo"),
    "photo-again": post(KEEPERS, "photo"),
    "duplicate-list": page(REGISTRAR),
    "duplicate-detail": page(REGISTRAR, "duplicate"),
    "duplicate-apart": post(REGISTRAR, "duplicate"),
    "merge-undo": post(REGISTRAR, "merge"),
    # reviews of the keeper's animals: one put to the mentor, one taken, one in the club's queue
    "review-list": page(SIGNED_IN),
    "review-create": page(KEEPERS, query={"animal": "animal"}),
    "review-check": page(KEEPERS, "slug"),
    "review-discard": post(KEEPERS, "slug"),
    "review-detail": page(KEEPERS | {"mentor"}, "review"),
    "review-take": post({"mentor", "revoked_mentor"}, "queued_review"),
    "review-hand-on": page({"mentor"}, "review"),
    "review-withdraw": page(KEEPERS, "review"),
    "review-prolong": post(KEEPERS, "review"),
    "review-word-create": post(KEEPERS | {"mentor"}, "review"),
    "review-act": post(KEEPERS, "answered_animal"),
    "review-work": page({"mentor"}, "review"),
    "review-animal": page({"mentor"}, "review", "second"),
    "review-answer": post({"mentor"}, "review", "second"),
    "review-finish": page({"mentor"}, "review"),
    "barn": page(GRADERS, "slug"),
    "season-create": page({"mentor"}, "slug"),
    "season-pairs": page({"mentor"}, "slug"),
    "season-detail": page(GRADERS, "season_item"),
    "season-update": page({"mentor"}, "season_item"),
    "season-withdraw": post({"mentor"}, "season_item"),
    "season-answer": page(KEEPERS, "season_item"),
    "review-photo": page({"mentor"}, "pictured_animal", "photo", "size"),
    "wish-meet": post(KEEPERS, "wish"),
    "wish-decline": post(KEEPERS, "wish"),
    "animal-grant-revoke": page(KEEPERS | {"mentor"}, "animal_grant"),
    # on paper
    "pedigree-detail": page(SIGNED_IN, "animal"),
    "progeny-tree": page(SIGNED_IN, "sire"),
    "relation": page(SIGNED_IN, query={"one": "animal", "other": "sire"}),
    "population": page(SIGNED_IN),
    "population-start": post(SIGNED_IN),  # anybody while there are no figures; afterwards officers alone
    "population-csv": page(SIGNED_IN),
    "certificate-create": page(KEEPERS | REGISTRAR, "animal"),
    "certificate-list": page(SIGNED_IN),
    "certificate-detail": page(KEEPERS | REGISTRAR, "certificate"),
    "certificate-file": page(KEEPERS | REGISTRAR, "certificate"),
    "cage-cards": page(KEEPERS, "slug"),
    "planner": page(KEEPERS, "slug"),
    "plan": page(KEEPERS, "slug"),
    "plan-add": post(KEEPERS, "slug"),
    "plan-note": post(KEEPERS, "planned"),
    "plan-drop": post(KEEPERS, "planned"),
    "plan-restore": post(KEEPERS, "planned"),
    "cage-cards-file": page(KEEPERS, "slug"),
    # what breeds on
    "sire-list": page(SIGNED_IN),
    "sire-detail": page(SIGNED_IN, "sire"),
    "sire-compare": page(SIGNED_IN),
    "compare": page(SIGNED_IN),
    # a line that the keeper made for the herd and shares with nobody else
    "line-list": page(SIGNED_IN),
    "line-create": page(SIGNED_IN),
    "line-detail": page(KEEPERS, "line"),
    "line-update": page(KEEPERS, "line"),
    "line-delete": page(KEEPERS, "line"),
    "line-name": post(KEEPERS, "line"),
    "line-unname": post(KEEPERS, "line", "animal"),
    "line-rename": post(KEEPERS, "line", "animal", "line_part"),
    "sire-both": page(SIGNED_IN),
    "year-list": page(SIGNED_IN),
    "belief-list": page(SIGNED_IN),
    "belief-detail": page(SIGNED_IN, "belief"),
    "research": page(OFFICER),
    "year-report": page(OFFICER),
    "year-report-file": page(OFFICER),
    "evaluation-list": page(OFFICER),
    "evaluation-detail": page(OFFICER, "evaluation"),
    "evaluation-stop": post(OFFICER, "evaluation"),
    "year-detail": page(SIGNED_IN, "year"),
    # the yearly calibration; the keeper has a seat in the open set and in the one that is worked out
    "calibration-list": page(SIGNED_IN),
    "calibration-create": page(OFFICER),
    "calibration-detail": page(SIGNED_IN, "open_set"),
    "calibration-open": page(OFFICER, "draft_set"),
    "calibration-extend": post(OFFICER, "draft_set"),
    "calibration-close": page(OFFICER, "open_set"),
    "calibration-remove": page(OFFICER, "draft_set"),
    "calibration-replace": post(OFFICER, "draft_set", "place"),
    "calibration-drop": post(OFFICER, "draft_set", "place"),
    "calibration-grade": post(SIGNED_IN, "open_set"),
    "calibration-place": page({"keeper"}, "open_set", "place"),
    "calibration-answer": post({"keeper"}, "open_set", "place"),
    "calibration-finish": page({"keeper"}, "open_set"),
    "calibration-result": page({"keeper"}, "done_set"),
    "calibration-name": post({"keeper"}, "done_set"),
    "calibration-photo": page({"keeper"} | OFFICER, "set_item", "photo_place", "size"),
    "photo-consents": page(KEEPERS, "slug"),
    "practice": page(SIGNED_IN),
    "practice-progress": page(SIGNED_IN),
    "practice-told": page({"keeper"}, "guess"),
    "practice-photo": page(SIGNED_IN, "done_item", "photo_place", "size"),
}


def club_picture():
    """The name of the club's picture, which is made here."""
    club, drawn = Club.current(), io.BytesIO()
    Image.new("RGB", (60, 40), "#889").save(drawn, "PNG")
    club.picture.save("picture.png", ContentFile(drawn.getvalue()))
    return club.picture.name.rpartition("/")[2]


def addresses():
    """The names of all addresses of the site, allauth's own left out."""

    def walk(patterns):
        for pattern in patterns:
            if hasattr(pattern, "url_patterns"):
                yield from walk(pattern.url_patterns)
            elif pattern.name and not pattern.name.startswith(LIBRARY):
                yield pattern.name

    return sorted(set(walk(get_resolver().url_patterns)))


def make_sheets(cast):
    """A sheet in its preview, one that a job works on, and one that is in the registry."""
    keys = {}
    for name, mark in (("sheet_key", "A801"), ("busy_sheet_key", "A802"), ("done_sheet_key", "A803")):
        data = f"Ear no.,Name,Sex,Wt\n{mark},Newcomer,doe,4.2\nA1,Slate,buck,4.5\n,,buck,\n".encode()
        batch = bring_sheet(by=cast.keeper, herd=cast.herd, name="sheet.csv", data=data)
        if name == "busy_sheet_key":
            ImportBatch.objects.filter(pk=batch.pk).update(state="writing")
        if name == "done_sheet_key":
            answer(batch=batch, by=cast.keeper, weights="kg")
            agree(batch=batch, by=cast.keeper, leave_out=True)
        keys[name] = batch.key
    return keys


def season_item(cast):
    """What the mentor proposes to the keeper's herd."""
    year = timezone.localdate().year
    given = {"aim": "mate", "animal": cast.dam, "buck": cast.sire, "why": "Her undercolor, his surface."}
    return propose(herd=cast.herd, by=cast.mentor, season=year, **given)


def make_reviews(cast):
    """A review that the mentor took and asked a photo for, one in the queue, and one that is answered."""
    asked = {"herd": cast.herd, "question": "keep", "by": cast.keeper, "ends_on": timezone.localdate() + timedelta(9)}
    taken = ask_review(animals=[cast.sire, cast.daughter], mentor=cast.mentor, **asked)
    take_review(review=taken, by=cast.mentor)
    wish = ViewWish.objects.create(of=taken.animals.first(), view="top", why="The shoulder lies in shadow.")
    queued = ask_review(animals=[cast.dam], **asked)
    answered = make_review(cast.herd, [cast.dam], cast.keeper, cast.mentor, state="answered")
    return {
        "review": taken.pk,
        "review_animal": taken.animals.first().pk,
        "second": 2,
        "pictured_animal": taken.animals.get(position=2).pk,
        "queued_review": queued.pk,
        "season_item": season_item(cast).pk,
        "answered_review": answered.pk,
        "answered_animal": answered.animals.first().pk,
        "wish": wish.pk,
        "animal_grant": AnimalGrant.objects.get(animal=cast.sire, mentor=cast.mentor).pk,
    }


def make_things(cast):
    """One of each kind of thing, all in the keeper's herd."""
    today = timezone.localdate()
    profile = make_profile(cast.sire.breed)
    surface = Trait.objects.get(summary="surface")
    mating = make_mating(cast.dam, cast.sire, mated_on=today - timedelta(days=40))
    litter = make_litter(cast.dam, cast.sire, kits=2, born_on=today - timedelta(days=9))
    animal = cast.daughter
    look = make_look(animal, cast.keeper, steps={surface: 6})
    buck = make_animal(cast.herd, sex="buck")
    week = {"starts_on": today - timedelta(days=9), "ends_on": today - timedelta(days=1)}
    grant = make_grant(cast.herd, cast.fellow, cast.keeper, **week)
    batch = uuid.uuid4()
    Decision.objects.create(animal=animal, verdict="keep", by=cast.keeper, batch=batch)
    token = Invitation.new_token()
    invitation = Invitation.objects.create(
        email="new@example.org",
        token_hash=hashed(token),
        invited_by=cast.officer,
        expires_at=timezone.now() + timedelta(days=5),
    )
    photo = ready_photo(animal)
    return {
        "fellow": cast.fellow.pk,
        "picture": club_picture(),
        "shut_out": make_member("Odo Farthing", is_active=False).pk,
        "token": token,
        "invitation": invitation.pk,
        "slug": cast.herd.slug,
        "ownership": Ownership.objects.get(herd=cast.herd, member=cast.co_owner).pk,
        "grant": grant.pk,
        "animal": animal.pk,
        "animal_word": "animal",
        "mark": Mark.objects.get(animal=animal).pk,
        "batch": batch,
        "quarantine": Quarantine.objects.create(animal=animal, planned_until=today + timedelta(days=20)).pk,
        "transfer": Transfer.objects.create(
            animal=buck, from_herd=cast.herd, to_herd=cast.other_herd, offered_by=cast.keeper
        ).pk,
        "no_task": "palpate-0",
        "feed_token": make_feed_address(by=cast.keeper)[1],
        "health_note": make_health_note(
            animal, withdrawal_until=today + timedelta(days=12), follow_up_on=today + timedelta(days=2)
        ).pk,
        "mating": mating.pk,
        "mating_event": MatingEvent.objects.create(mating=mating, kind="palpation", result="in_kindle").pk,
        "litter": litter.pk,
        **make_sheets(cast),
        **make_reviews(cast),
        "litter_event": litter.events.create(kind="nest_check").pk,
        "sheet": "white",
        "kit": litter.kits.first().pk,
        "weight": make_weight(animal, on=today - timedelta(days=3)).pk,
        "look": look.pk,
        "open_look": make_look(cast.dam, cast.keeper, finished=False).pk,
        "section": 1,
        "profile": profile.pk,
        **edition_things(cast.sire.breed, surface),
        "sire": cast.sire.pk,
        "year": animal.born_on.year,
        "belief": "fading",
        "line": Line.objects.create(name="Slate's", foundation=cast.sire, owner=cast.keeper, herd=cast.herd).pk,
        "other_line": Line.objects.create(
            name="Flint's", foundation=cast.other_buck, owner=cast.fellow, shared=True
        ).pk,
        "line_part": "added",
        "photo": photo.key,
        **calibration_things(cast, photo),
        "size": "320",
        "duplicate": offer_pair(
            first=make_animal(cast.herd, "T1"), second=make_animal(cast.herd, "T2"), why="", by=cast.registrar
        ).pk,
        "merge": merge_cards(
            keep=make_animal(cast.herd, "T3"), gone=make_animal(None, "T4"), reason="Read again", by=cast.registrar
        ).pk,
        "evaluation": EvaluationRun.objects.create(breed=cast.sire.breed, asked_by=cast.officer, method="1").pk,
        "planned": PlannedMating.objects.create(
            herd=cast.herd, doe=cast.dam, buck=cast.sire, planned_by=cast.keeper, reasons=["Both are bright."]
        ).pk,
        "certificate": issue_certificate(animal=animal, generations=3, by=cast.keeper).number,
        "step": pictured_step(profile, surface).pk,
    }
