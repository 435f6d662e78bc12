"""Which figures of a belief a member is shown: of groups large enough, of oneself, of sires whose progeny is open."""

from django.urls import reverse

from grading import merit_charts, twoway
from grading.beliefs import reading, words
from grading.beliefs.words import BELIEFS, HOW, SHORT, TITLES, Answer, Table, interval
from grading.comparing.sums import open_herds
from grading.figures import signed
from herds.models import Animal
from herds.words import count_words

FEWEST_GRADERS = 3  # under so many, a list without names would name them
MOST_SIRES = 40


def answers_of(member, breed, club, slugs=None):
    """The Answers for a breed in the order of BELIEFS, or those of some slugs alone."""
    figures = reading.figures_of(breed.pk)
    makers = {"white-on-the-head": _white, "darker-coats": _deep, "type-and-grade": _sway, "fading": _fading}
    return figures, [
        makers[each.slug](each, figures, member, club) for each in BELIEFS if slugs is None or each.slug in slugs
    ]


def _held(group, club, what=""):
    said = twoway.held_back(group.animals, group.herds, club)
    return said and f"{what}{said}"


def _best(pairs, name):
    """What was found with graders taken out, or else as graded."""
    return pairs.get((name, "right")) or pairs[name, "raw"]


def _white(belief, figures, member, club):
    found, answer = figures.white, Answer(belief, "")
    answer.told.append(
        f"{count_words(found.looked, 'kit was', 'kits were')} looked at for white at birth, and {found.marked:,} had "
        "white on the head."
    )
    wanted = reading.FEWEST_WHITE
    for group, what in ((found.white, "with white on the head"), (found.others, "without")):
        if group.animals < wanted:
            answer.untold.append(
                words.not_enough(
                    group.animals,
                    f"kit {what} at birth was graded grown",
                    f"kits {what} at birth were graded grown",
                    wanted,
                )
            )
        elif held := _held(group, club, f"Kits {what}. "):
            answer.untold.append(held)
    if answer.untold:
        return answer
    if found.molted.n < wanted:
        answer.untold.append(
            words.not_enough(found.molted.n, "of them was checked for white spots grown",
                             "of them were checked for white spots grown", wanted)
        )  # fmt: skip
    else:
        answer.verdict = (
            f"White on the head molted out in {words.shares(found.molted)} of {found.molted.n} kits that were checked "
            "for white spots grown."
        )
    rows = []
    for (name, how), effect in found.differences.items():
        if effect.told:
            rows.append(
                [f"{TITLES[name]}, {HOW[how]}", signed(effect.value), interval(effect), effect.n, effect.groups]
            )
        elif how == "mates":
            answer.untold.append(f"{TITLES[name]} beside litter mates: not enough rows yet, for {effect.why}.")
    for name in reading.SUMMARIES:
        effect = _best(found.differences, name)
        if effect.told:
            answer.told.append(words.difference_words(name, effect, "Grown they were"))
    if all(share.told for share in found.spots):
        with_white, without = (f"{words.shares(share)} of {share.n}" for share in found.spots)
        answer.told.append(
            f"Grown, a white spot was found somewhere in {with_white} with white on the head, and in {without} without."
        )
    if rows:
        columns = ("Grown, in prime coat", "White less others", "95 % interval", "Animals", "Litters")
        answer.tables.append(Table("Kits with white on the head at birth less the others", columns, rows))
        answer.caption = "Kits with white on the head less the others"
        answer.svg = _bars(
            [(SHORT[name], _best(found.differences, name)) for name in reading.SUMMARIES], "Steps (reach: tenths)"
        )
    answer.told.append(
        f"{found.white.animals} grown kits with white on the head from {found.white.litters} litters were set beside "
        f"{found.others.animals} without from {found.others.litters}."
    )
    return answer


def _deep(belief, figures, member, club):
    found, answer = figures.deep, Answer(belief, "")
    if found.group.animals < reading.FEWEST_ANIMALS:
        answer.untold.append(
            words.not_enough(found.group.animals, "grown animal with surface and undercolor graded",
                             "grown animals with surface and undercolor graded", reading.FEWEST_ANIMALS)
        )  # fmt: skip
        return answer
    if held := _held(found.group, club):
        answer.untold.append(held)
        return answer
    rows, told = [], []
    for (name, how), (slope, tie) in found.pairs.items():
        if not (slope.told and tie.told):
            answer.untold.append(f"{TITLES[name]}, {HOW[how]}: not enough rows yet, for {slope.why or tie.why}.")
            continue
        darker, close = words.turned(slope), words.turned(tie)
        rows.append([f"{TITLES[name]}, {HOW[how]}", signed(darker.value), interval(darker),
                     f"{signed(close.value)} ({interval(close)})", slope.n])  # fmt: skip
    for name in ("undercolor", "reach"):
        if (slope := _best(found.pairs, name)[0]).told:
            told.append(words.deep_words(name, words.turned(slope)))
    answer.verdict, answer.told = (told or [""])[0], told[1:]
    if genetic := words.genetic_words(figures.genetic):
        answer.told.append(genetic)
    columns = ("Underneath", "For a surface one step darker", "95 % interval", "Correlation", "Animals")
    if rows:
        answer.tables.append(Table("What goes with a surface one step darker", columns, rows))
        answer.caption = "What goes with a surface one step darker"
        answer.svg = _bars(
            [(SHORT[name], words.turned(_best(found.pairs, name)[0])) for name in ("undercolor", "reach")],
            "Steps (reach: tenths)",
        )
    return answer


def _sway(belief, figures, member, club):
    found, answer = figures.sway, Answer(belief, "")
    enough = {
        key: row for key, row in found.graders.items()
        if row[1] >= reading.FEWEST_TYPED and row[2] >= reading.FEWEST_TYPED_ANIMALS and row[0].told
    }  # fmt: skip
    if len(enough) < FEWEST_GRADERS:
        answer.untold.append(
            "Not enough rows yet for the club: "
            f"{count_words(len(enough), 'grader has', 'graders have')} {reading.FEWEST_TYPED} looks with body type at "
            f"{reading.FEWEST_TYPED_ANIMALS} animals that others graded too, and it takes {FEWEST_GRADERS}."
        )
    elif held := _held(found.group, club):
        answer.untold.append(held)
    else:
        answer.verdict = words.swayed_words([row[0] for row in enough.values()])
    if member.pk in found.graders:
        answer.told.append(_own(found.graders[member.pk]))
    columns = ("Grader", "Steps of surface for a step of type", "95 % interval", "Looks", "Animals")
    rows, shown = [], []
    if answer.verdict and member.is_officer:
        for place, (effect, looks, animals) in enumerate(sorted(enough.values(), key=lambda row: -row[0].value), 1):
            rows.append([f"Grader {place}", effect])
            shown.append([f"Grader {place}", signed(effect.value), interval(effect), looks, animals])
        answer.told.append("Officers see the graders without names, in the order of the slopes; graders see their own.")
    if member.pk in enough:
        effect, looks, animals = enough[member.pk]
        rows.append(["You", effect])
        shown.append(["You", signed(effect.value), interval(effect), looks, animals])
    if shown:
        answer.tables.append(Table("Surface shade beside other graders', by body type", columns, shown))
        answer.caption, answer.svg = "Surface shade for a step of body type", _bars(rows, "Steps for a step of type")
    return answer


def _own(row):
    effect, looks, animals = row
    if looks >= reading.FEWEST_TYPED and animals >= reading.FEWEST_TYPED_ANIMALS and effect.told:
        return words.sway_words(effect, "Your grades")
    return (
        f"Your own grades: not enough rows yet. {count_words(looks, 'look')} of yours with body type at "
        f"{count_words(animals, 'animal')} that others graded too; it takes {reading.FEWEST_TYPED} at "
        f"{reading.FEWEST_TYPED_ANIMALS}."
    )


def _fading(belief, figures, member, club):
    found, answer = figures.fading, Answer(belief, "")
    slopes, columns = found.slopes, ("Whose", "Animals", "As seen", "95 % interval", "Drawn in", "95 % interval")
    rows, links, bars = [], [], []
    if not slopes.all.told:
        answer.untold.append(f"Not enough rows yet for the club: {slopes.all.why}.")
    elif held := _held(found.group, club):
        answer.untold.append(held)
    else:
        answer.verdict = words.fade_words(slopes.all)
        answer.told.append(words.sires_words(slopes))
        rows.append(["All the club", slopes.all.n, signed(slopes.all.value), interval(slopes.all), "–", "–"])
        links.append("")
        bars.append(("The club", slopes.all))
    herds = set(open_herds(member))
    seen = {
        key: effect for key, effect in slopes.by_group.items()
        if found.herds[key] <= herds or not twoway.held_back(effect.n, len(found.herds[key] - {-1}), club)
    }  # fmt: skip
    named = Animal.objects.visible_to(member).in_bulk(list(seen))
    order = sorted(seen, key=lambda key: slopes.drawn[key].value)
    for key in order[:MOST_SIRES]:
        own, drawn = seen[key], slopes.drawn[key]
        title = str(named[key]) if key in named else "A sire"
        rows.append([title, own.n, signed(own.value), interval(own), signed(drawn.value), interval(drawn)])
        links.append(reverse("sire-detail", args=[key]) if key in named else "")
        bars.append((named[key].mark_text or named[key].name or title if key in named else title, drawn))
    if rows:
        answer.tables.append(Table("Undercolor, steps a year after the first birthday", columns, rows, links))
        answer.caption, answer.svg = "Undercolor, steps a year (sires drawn in)", _bars(bars[:12], "Steps a year")
    if len(order) > MOST_SIRES:
        answer.told.append(f"The {MOST_SIRES} sires of {len(order)} that fade most are listed.")
    if hidden := len(slopes.by_group) - len(seen):
        answer.untold.append(
            f"{count_words(hidden, 'sire is', 'sires are')} held back: their progeny stand in fewer than "
            f"{club.smallest_group_herds} herds, some of which do not share their looks."
        )
    if slopes.few:
        answer.untold.append(
            f"Not enough rows yet for {count_words(len(slopes.few), 'more sire', 'more sires')}: it takes "
            f"{reading.FEWEST_FADING} of a sire's progeny, each looked at twice in prime coat after its first birthday."
        )
    return answer


def _bars(pairs, title):
    seen: dict = {}
    rows = []
    for label, effect in pairs:
        if effect.told:
            seen[label] = seen.get(label, 0) + 1  # two sires of one name stay two lines
            label = label if seen[label] == 1 else f"{label} ({seen[label]})"
            rows.append({"label": label, "value": effect.value, "low": effect.low, "high": effect.high})
    return merit_charts.slope_bars(rows, title=title) if rows else ""
