"""What this app puts on the members' pages, into their data, and does when one of them leaves."""

from django.db.models import Prefetch

from clubsite.members.places import DataFile, Leaving, MemberPart, register

from .models import (
    Animal,
    AnimalGrant,
    Decision,
    FeedAddress,
    Grant,
    HealthNote,
    Herd,
    Kit,
    Line,
    LineAnimal,
    Litter,
    LitterEvent,
    Mark,
    Mating,
    MatingEvent,
    Ownership,
    Quarantine,
    Transfer,
    Weight,
)
from .models.herd import SHARES


def register_all():
    """Called once when the app is ready."""
    register(
        MemberPart("herds", "Herds", 10, with_herds, "herds/people/herds_cell.html", "herds/people/herds_part.html")
    )
    register(Leaving("herds", 10, carry_out=leave, explain=explain_leaving))
    for order, (name, about, columns, rows) in enumerate(FILES, 10):
        register(DataFile(name, about, order, columns, rows))


def with_herds(members):
    """Fetch today's herds with the members, as `current_shares`."""
    current = Ownership.objects.filter(until__isnull=True).select_related("herd").order_by("herd__name")
    return members.prefetch_related(Prefetch("ownerships", queryset=current, to_attr="current_shares"))


def leave(member, by):
    from .actions.herds import leave_all_herds

    FeedAddress.objects.filter(member=member).delete()
    own_lines(member).delete()
    leave_all_herds(member=member, by=by)


def own_lines(member):
    """The lines that nobody else is meant to see."""
    return Line.objects.filter(owner=member, shared=False, herd__isnull=True)


def explain_leaving(member):
    """What becomes of the member's herds and grants, a sentence each."""
    from .actions.herds import sole_and_shared

    sole, shared = sole_and_shared(member)
    for herd in shared:
        others = [str(row.member) for row in herd.current_ownerships if row.member_id != member.pk]
        yield f"{herd} goes on with {' and '.join(others)}."
    for herd in sole:
        if member.guardian is not None:
            yield f"{herd} goes to your guardian, {member.guardian}."
        else:
            yield (
                f"{herd} is closed, because nobody else owns it. Its animals are entered as outside the club, what "
                "it shared is shared no longer, its region and notes are deleted. Its name stays on the cards of "
                "animals bred in it. If the name says who you are, rename the herd first. If somebody else goes on "
                "with the herd, add them as owner first."
            )
    if Grant.objects.running().filter(mentor=member).exists():
        yield "Herds that were open to you as mentor are closed to you. Looks and advice that you wrote stay."
    if AnimalGrant.objects.running().filter(mentor=member).exists():
        yield "Single animals that were open to you for a review are closed to you."
    if own_lines(member).exists():
        yield "Lines that you keep for yourself are deleted. Those that you share with the club stay."


def _kept(model, member, *related, path="herd"):
    rows = model.objects.filter(**{f"{path}__in": Herd.objects.kept_by(member)})
    return rows.select_related(*related).order_by("pk").iterator(chunk_size=2000)


def _name(row):
    return str(row) if row is not None else ""


def herds(member):
    for row in _kept(Ownership, member, "herd", "member"):
        herd = row.herd
        yield [
            herd.name, herd.prefix, herd.region, herd.notes, herd.closed_on, row.member.name, row.since, row.until,
            *(getattr(herd, shared) for shared in SHARES),
        ]  # fmt: skip


def animals(member):
    for row in _kept(Animal, member, "herd", "breed", "sire", "dam", "bred_in"):
        yield [
            row.pk, row.herd.name, row.mark_text, row.name, row.breed.name, row.variety, row.get_sex_display(),
            row.born_on, row.sire_id, _name(row.sire), row.dam_id, _name(row.dam), row.breeder, row.imported,
            row.get_status_display(), row.status_on, row.status_note, row.silver_complete_on, row.notes,
        ]  # fmt: skip


def marks(member):
    for row in _kept(Mark, member, "animal", "issued_by", path="animal__herd"):
        issuer = _name(row.issued_by) or row.issuer_name
        yield [row.animal_id, row.get_kind_display(), row.text, issuer, row.issued_on, row.replaced_on, row.reason]


def matings(member):
    for row in _kept(Mating, member, "herd", "doe", "buck"):
        yield [
            row.pk, row.herd.name, row.doe_id, _name(row.doe), row.buck_id, _name(row.buck), row.mated_on, row.until,
            row.ended_on, row.note,
        ]  # fmt: skip


def mating_events(member):
    for row in _kept(MatingEvent, member, path="mating__herd"):
        yield [row.mating_id, row.get_kind_display(), row.on, row.get_result_display(), row.note]


def litters(member):
    for row in _kept(Litter, member, "herd", "dam", "sire"):
        yield [
            row.pk, row.herd.name, row.mating_id, row.dam_id, _name(row.dam), row.sire_id, _name(row.sire), row.born_on,
            row.born_alive, row.born_dead, row.note,
        ]  # fmt: skip


def litter_events(member):
    for row in _kept(LitterEvent, member, path="litter__herd"):
        yield [row.litter_id, row.get_kind_display(), row.on, row.alive, row.dead, row.note]


def kits(member):
    for row in _kept(Kit, member, "animal", path="litter__herd"):
        yield [
            row.litter_id, row.number, row.get_sex_display(), " ".join(row.white_at), row.white_seen_on,
            row.fostered_to_id, row.fostered_on, row.died_on, row.animal_id, row.note,
        ]  # fmt: skip


def weights(member):
    for row in _kept(Weight, member, "animal", "kit"):
        kit = row.kit.number if row.kit else None
        litter = row.kit.litter_id if row.kit else row.litter_id
        yield [row.animal_id, _name(row.animal), litter, kit, row.count, row.on, row.grams, row.note]


def decisions(member):
    for row in _kept(Decision, member, "animal", "by", path="animal__herd"):
        yield [row.animal_id, _name(row.animal), row.get_verdict_display(), row.decided_on, row.reason, row.by.name]


def health_notes(member):
    for row in _kept(HealthNote, member, "animal", "herd"):
        yield [
            row.pk, row.herd.name, row.animal_id, _name(row.animal), row.litter_id, row.on, row.seen, row.done,
            row.dose, row.vet_asked, row.withdrawal_until, row.no_show_until, row.follow_up_on, row.followed_up_on,
            row.ended_on, row.corrects_id, row.correction_reason, row.struck_out,
        ]  # fmt: skip


def quarantines(member):
    for row in _kept(Quarantine, member, "animal", path="animal__herd"):
        yield [row.animal_id, _name(row.animal), row.started_on, row.planned_until, row.ended_on, row.reason]


def transfers(member):
    rows = Transfer.objects.filter(from_herd__in=Herd.objects.kept_by(member))
    rows |= Transfer.objects.filter(to_herd__in=Herd.objects.kept_by(member))
    for row in rows.select_related("animal", "from_herd", "to_herd").order_by("pk").iterator(chunk_size=2000):
        yield [
            row.animal_id, _name(row.animal), row.from_herd.name, row.to_herd.name, row.on, row.get_outcome_display(),
            row.note,
        ]  # fmt: skip


def grants(member):
    for row in Grant.objects.visible_to(member).select_related("herd", "mentor").order_by("pk"):
        yield [
            row.herd.name, row.mentor.name, row.starts_on, row.ends_on, row.may_grade, row.with_log, row.with_health,
            row.revoked_at, row.note,
        ]  # fmt: skip


def animal_grants(member):
    rows = AnimalGrant.objects.visible_to(member).select_related("animal", "herd", "mentor").order_by("pk")
    for row in rows.iterator(chunk_size=2000):
        yield [
            row.animal_id, _name(row.animal), row.herd.name, row.mentor.name, row.starts_on, row.ends_on,
            row.may_grade, row.with_looks, row.revoked_at,
        ]  # fmt: skip


def lines(member):
    for row in Line.objects.filter(owner=member).select_related("foundation", "herd").order_by("pk"):
        yield [
            row.pk, row.name, row.foundation_id, _name(row.foundation), row.get_rule_display(), _name(row.herd),
            row.shared, row.note,
        ]  # fmt: skip


def line_animals(member):
    for row in LineAnimal.objects.filter(line__owner=member).select_related("line", "animal").order_by("pk"):
        yield [row.line_id, row.line.name, row.animal_id, _name(row.animal), row.get_part_display()]


# (file, what is in it, columns, rows); photos and looks are added by the app above, through the same place.
FILES = (
    (
        "herds",
        "your herds, their owners, and what they share.",
        ("herd", "prefix", "region", "notes", "closed", "owner", "since", "until", "shares looks", "shares photos",
         "shares litters", "shares weights", "shares outcomes", "shares merits"),
        herds,
    ),
    (
        "animals",
        "the animals of your herds. The number in the first column names the animal in the other files.",
        ("animal", "herd", "mark", "name", "breed", "variety", "sex", "born", "sire number", "sire", "dam number",
         "dam", "breeder", "came from abroad", "status", "status since", "status note", "silvering complete", "notes"),
        animals,
    ),
    (
        "marks",
        "every mark of these animals, also those that were replaced.",
        ("animal", "kind", "mark", "issuer", "issued", "replaced", "why replaced"),
        marks,
    ),
    (
        "matings",
        "matings logged in your herds.",
        ("mating", "herd", "doe number", "doe", "buck number", "buck", "mated", "left together until", "given up",
         "note"),
        matings,
    ),
    (
        "mating-events",
        "what was seen between mating and kindling.",
        ("mating", "what", "day", "result", "note"),
        mating_events,
    ),
    (
        "litters",
        "litters kindled in your herds.",
        ("litter", "herd", "mating", "dam number", "dam", "sire number", "sire", "kindled", "born alive", "born dead",
         "note"),
        litters,
    ),
    (
        "litter-events",
        "nest checks, weaning and other days of these litters.",
        ("litter", "what", "day", "alive", "found dead", "note"),
        litter_events,
    ),
    (
        "kits",
        "the kits of these litters, with white seen at birth and fostering.",
        ("litter", "kit", "sex", "white seen on", "seen on day", "fostered to litter", "fostered on", "died on",
         "animal", "note"),
        kits,
    ),
    (
        "weights",
        "weights in grams, of animals, kits and whole litters.",
        ("animal", "animal name", "litter", "kit", "kits on the scale", "day", "grams", "note"),
        weights,
    ),
    (
        "decisions",
        "keep, grow on and let go, with reasons.",
        ("animal", "animal name", "decision", "day", "reason", "by"),
        decisions,
    ),
    (
        "health-notes",
        "what you saw and did when animals or litters were unwell; a correction names the note that it corrects.",
        ("note", "herd", "animal", "animal name", "litter", "day", "seen", "done or given", "dose", "vet asked",
         "not for the table until", "not for showing until", "look again", "looked again", "over", "corrects note",
         "why corrected", "struck out"),
        health_notes,
    ),
    (
        "lines",
        "the lines that you made, with the rule by which each goes on.",
        ("line", "name", "foundation number", "foundation", "goes on", "herd", "shared", "note"),
        lines,
    ),
    (
        "line-animals",
        "what you said of single animals in these lines.",
        ("line", "name", "animal", "animal name", "what"),
        line_animals,
    ),
    (
        "quarantines",
        "quarantines of these animals.",
        ("animal", "animal name", "from", "planned until", "ended", "reason"),
        quarantines,
    ),
    (
        "transfers",
        "animals that came and went.",
        ("animal", "animal name", "from herd", "to herd", "day", "outcome", "note"),
        transfers,
    ),
    (
        "grants",
        "mentor grants that you gave and had.",
        ("herd", "mentor", "from", "until", "may grade", "with log", "with health notes", "revoked", "note"),
        grants,
    ),
    (
        "animal-grants",
        "single animals that you opened to mentors, and that were opened to you.",
        ("animal", "animal name", "herd", "mentor", "from", "until", "may grade", "sees the looks", "revoked"),
        animal_grants,
    ),
)  # fmt: skip
