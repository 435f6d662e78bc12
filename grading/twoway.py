"""What the sire, year and comparison pages show of a group: chart, table, counts, and what is held back.

A *basis* is a way to come to an animal's figures from its looks: raw, like for like, and later the merit of a
mixed model, which takes a place of its own in BASES.
"""

from dataclasses import dataclass
from typing import Any

from grading import charts, load
from grading.comparing.sums import open_herds
from grading.models import BreedProfile, Look, Trait

BASES = {
    "raw": "As graded",
    "like": "Like for like",
}
MOST_DOTS = 250
LIKE_FOR_LIKE_NOTE = (
    "Like for like: each look is compared with all the club's looks of the same age class, coat stage and mode. "
    "A lenient grader is not taken out here."
)


@dataclass(frozen=True)
class Panel:
    """One two-way plot with its numbers, ready for components/chart.html."""

    basis: str
    title: str
    svg: str
    columns: list
    rows: list
    note: str
    group: Any


def goal_of(profile):
    """((low, high) of surface shade, (low, high) of undercolor) in a profile; None where it has no such goal."""
    if profile is None:
        return None
    wanted = profile.traits.filter(trait__summary__in=["surface", "undercolor"]).select_related("trait")
    goals = {row.trait.summary: row.goal_for("") for row in wanted}
    return (goals["surface"], goals["undercolor"]) if goals.get("surface") and goals.get("undercolor") else None


def club_profile(breed_id, on):
    """The profile in force for the breed on a day, or None."""
    return BreedProfile.in_force(breed_id, on)


def held_back(animals, herds, club):
    """Why a breed-wide group is not shown, as a sentence; empty when it may be shown."""
    if animals >= club.smallest_group_animals and herds >= club.smallest_group_herds:
        return ""
    return (
        f"Held back: the club shows a group from {club.smallest_group_animals} animals of "
        f"{club.smallest_group_herds} herds on; here are {animals} of {herds}."
    )


def not_ranked(animals, dams, club):
    """Why a sire is not ranked, as a sentence; empty when he may be."""
    if animals >= club.ranking_progeny and dams >= club.ranking_dams:
        return ""
    return (
        f"Too few to judge him by: {animals} progeny looked at from {dams} {'dam' if dams == 1 else 'dams'}. "
        f"From {club.ranking_progeny} progeny of {club.ranking_dams} dams on he is listed among the others."
    )


def words_for(value):
    """A step mean with one decimal, or a dash that says 'not known'."""
    return "–" if value is None or value != value else f"{value:.1f}"


def coat_of(row, end=""):
    """What components/coat.html takes, from a summary row: whole steps to draw and means to read."""
    values = {name: row[name + end] for name in ("surface", "undercolor", "reach")}
    coat = {name: None if value is None else round(value) for name, value in values.items()}
    return {**coat, **{f"{name}_text": words_for(value) for name, value in values.items()}}


def panels_of(rows, cells, *, goal, names, label, progeny_word="progeny"):
    """A Panel for each basis of LookRows. `names` maps the animals that may be shown one by one to their words."""
    found = []
    for basis, title in BASES.items():
        group = load.group_of(rows, cells if basis == "like" else None)
        found.append(_panel(basis, title, group, goal, names, label, progeny_word))
    return found


def _panel(basis, title, group, goal, names, label, progeny_word):
    surface, undercolor = group.animal_values["surface"], group.animal_values["undercolor"]
    both = [
        animal for animal in surface if surface[animal] == surface[animal] and undercolor[animal] == undercolor[animal]
    ]
    named = [animal for animal in both if animal in names]
    dots = [
        {
            "surface": surface[animal],
            "undercolor": undercolor[animal],
            "label": f"{names[animal]}: surface {surface[animal]:.1f}, undercolor {undercolor[animal]:.1f}",
        }
        for animal in named[:: 1 + len(named) // MOST_DOTS]
    ]
    mean = (group.spread["surface"].mean, group.spread["undercolor"].mean)
    groups = [{"label": label, "mean": mean, "covariance": group.covariance}] if None not in mean else []
    rows = [
        [names[animal], words_for(surface[animal]), words_for(undercolor[animal])]
        for animal in surface
        if animal in names
    ]
    rows.insert(0, [f"Mean of {len(both)} {progeny_word}", words_for(mean[0]), words_for(mean[1])])
    note = LIKE_FOR_LIKE_NOTE if basis == "like" else "As graded, whoever graded, at whatever age and in whatever coat."
    dot = "A dot is one animal, the cross" if dots else "The cross is"
    note += f" {dot} their mean, the ring one standard deviation round it."
    if len(dots) < len(named):
        note += f" {len(dots)} of {len(named)} animals are drawn; all count."
    if group.left_out:
        looks = "look has" if group.left_out == 1 else "looks have"
        note += f" {group.left_out} {looks} too few of the same kind to compare with."
    svg = charts.two_way(dots, goal=goal, groups=groups) if groups or dots else ""
    return Panel(basis, title, svg, ["Animal", "Surface shade", "Undercolor"], rows, note, group)


def figures(group):
    """Rows of (trait, n, mean, standard deviation, interval) in words, surface and undercolor together."""
    words = {"surface": "Surface shade", "undercolor": "Undercolor darkness", "reach": "Undercolor reach (tenths)"}
    return [
        (
            words[name],
            spread.n,
            words_for(spread.mean),
            words_for(spread.sd),
            f"{spread.low:.1f} to {spread.high:.1f}" if spread.low is not None else "–",
        )
        for name, spread in group.spread.items()
    ]


def distributions(looks, profile):
    """One chart per trait of how many animals got each step. Three queries at most."""
    counts = load.step_counts(looks)
    goals = {row.trait_id: row.goal_for("") for row in profile.traits.all()} if profile else {}
    found = []
    for trait in Trait.objects.filter(pk__in=counts):
        low, high = trait.scale_low, trait.scale_high
        steps = counts[trait.pk]
        svg = charts.steps_bars(steps, low=low, high=high, goal=goals.get(trait.pk))
        rows = [[step, steps.get(step, 0)] for step in range(low, high + 1)]
        found.append(
            {"trait": trait, "svg": svg, "columns": ["Step", "Animals"], "rows": rows, "n": sum(steps.values())}
        )
    return found


def current_looks(breed_id):
    """All current looks of a breed, whoever may see them one by one."""
    return Look.objects.current().filter(animal__breed=breed_id)


def visible_looks(member, looks):
    """The part of a queryset of finished looks that the member may see one by one."""
    return looks_of(looks, open_herds(member))


def looks_of(looks, herds):
    """The looks whose animals stand in these herds; of no herds a query all the same, which finds nothing."""
    return looks.filter(animal__herd__in=herds or [0])
