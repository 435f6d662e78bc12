"""Learning to see: which calibrated photo comes next, what a guess is told, and how somebody gets on.

Shown are only photos whose owners opened them for practice, of sets that are worked out, and only where the graders
agree well enough to be measured by. Surface shade and undercolor are asked together, of one coat.
"""

from dataclasses import dataclass

import numpy as np
from django.db.models import Exists, OuterRef
from django.utils import timezone

from clubsite.constraints import rules_explained
from grading.calibrating import reading, words
from grading.figures import WITHIN
from grading.models import CalibrationItem, Guess, ItemTruth, Photo, PhotoConsent, SetState
from grading.models.consent import may_be_shown

PAIR = ("surface", "undercolor")
RECENT = 20  # guesses of a group by which the next one is chosen
UNKNOWN, COULD_NOT = 1.0, 1.5  # steps that an untried group, and a 'cannot tell', count as missed
LEAST = 0.3  # so that what one sees well comes up at times, too
REST = 12  # exercises before a photo comes again, where there are enough
FEWEST = 10  # guesses before anything is said of a trait
MONTH_DAYS = 30


@dataclass(frozen=True)
class Exercise:
    """An item and the truths that are asked of it: surface shade with undercolor, or another trait alone."""

    item: CalibrationItem
    truths: list


def pool():
    """Truths to practise on today."""
    shut = Photo.objects.filter(calibration_items=OuterRef("item")).exclude(may_be_shown(PhotoConsent.Use.PRACTICE))
    done = ItemTruth.objects.filter(item__of__state=SetState.DONE, scored=True, discuss=False)
    return done.exclude(Exists(shut)).select_related("trait", "item__of")


def group_of(trait):
    """What is asked together with a trait."""
    return "coat" if trait.summary in PAIR else trait.code


def exercises(truths):
    """{group: {item key: [truths]}}; the coat only where both surface shade and undercolor are known."""
    found: dict = {}
    for truth in truths:
        found.setdefault(group_of(truth.trait), {}).setdefault(truth.item_id, []).append(truth)
    coats = found.get("coat", {})
    for item in [item for item, both in coats.items() if len({truth.trait.summary for truth in both}) < len(PAIR)]:
        del coats[item]
    return {group: items for group, items in found.items() if items}


def missed(guesses):
    """{group: mean steps missed} over the last guesses; guesses : (group, away or None), the newest first."""
    by_group: dict = {}
    for group, away in guesses:
        rows = by_group.setdefault(group, [])
        if len(rows) < RECENT:
            rows.append(COULD_NOT if away is None else abs(away))
    return {group: sum(rows) / len(rows) for group, rows in by_group.items()}


def weights(groups, missed):
    """(g,) chance of each group, by what is missed most; never nothing."""
    size = np.array([max(missed.get(group, UNKNOWN), LEAST) for group in groups])
    return size / size.sum()


def next_exercise(member):
    """The Exercise that comes next for a member, the same until they guess; None when there is none. Four queries."""
    found = exercises(pool())
    if not found:
        return None
    rows = list(Guess.objects.filter(member=member).select_related("trait", "truth")[: RECENT * 12])
    groups = sorted(found)
    past = missed((group_of(row.trait), row.away) for row in rows)
    rng = np.random.default_rng([member.pk, Guess.objects.filter(member=member).count()])
    group = groups[int(rng.choice(len(groups), p=weights(groups, past)))]
    seen = list(dict.fromkeys(row.truth.item_id for row in rows if row.truth and group_of(row.trait) == group))
    items = sorted(found[group])
    # Where all rest, those that have rested longest: a fifth of them, so that the order is not always the same.
    longest = sorted(items, key=seen.index, reverse=True)[: max(1, len(items) // 5)] if set(items) <= set(seen) else []
    fresh = [item for item in items if item not in seen[:REST]] or longest
    item = fresh[int(rng.integers(len(fresh)))]
    truths = sorted(found[group][item], key=lambda truth: (truth.trait.summary != "surface", truth.trait.position))
    shown = CalibrationItem.objects.prefetch_related("photos").select_related("of").get(pk=item)
    return Exercise(shown, truths)


def exercise_of(item, codes):
    """The Exercise that was shown, for the guess that comes; None when it may not be shown any more."""
    truths = list(pool().filter(item=item, trait__code__in=codes).order_by("trait__section", "trait__position"))
    if not truths or len(truths) != len(set(codes)):
        return None
    shown = CalibrationItem.objects.prefetch_related("photos").select_related("of").get(pk=item)
    return Exercise(shown, truths)


def save_guesses(*, exercise, steps, by):
    """Keep what a member guessed: {trait code: step or None for 'cannot tell'}. Returns the Guesses."""
    now = timezone.now()
    with rules_explained():
        return Guess.objects.bulk_create(
            Guess(member=by, truth=truth, trait=truth.trait, step=steps[truth.trait.code], agreed=truth.value, at=now)
            for truth in exercise.truths
            if truth.trait.code in steps
        )


# --- what is said ----------------------------------------------------------------------------------------------------


def told(guess, row):
    """What a guess is told: the consensus with its error, the described step and its neighbours, and where one was."""
    texts = {text.step: text.words for text in row.step_texts.all()} if row else {}
    agreed = round(guess.agreed)
    error = guess.truth.error if guess.truth else None
    between = (
        f", most likely between {guess.agreed - 2 * error:.1f} and {guess.agreed + 2 * error:.1f}" if error else ""
    )
    goal = row.goal_for("") if row else None
    return {
        "trait": guess.trait,
        "step": guess.step,
        "step_words": reading.near(texts, guess.step) if guess.step is not None else "",
        "agreed": f"{guess.agreed:.1f}",
        "agreed_words": reading.near(texts, agreed),
        "neighbours": [
            (step, texts[step]) for step in (agreed - 2, agreed - 1, agreed, agreed + 1, agreed + 2) if step in texts
        ],
        "consensus": f"The graders together saw {guess.agreed:.1f}{between}.",
        "verdict": verdict(guess),
        "goal": f"{goal[0]} to {goal[1]}" if goal else "",
        "why": row.why if row else "",
    }


def verdict(guess):
    """Where the guess lay, in a sentence."""
    if guess.step is None:
        return "You could not tell; look at the described steps beside the photo."
    away = guess.step - guess.agreed
    more, less = words.ends_of(guess.trait)
    if abs(away) <= 0.5:
        return "You saw it as they did."
    if abs(away) <= 1:
        return f"Within one step; a little {more if away > 0 else less}."
    return f"You saw it {abs(away):.1f} steps {more if away > 0 else less} than they did."


def progress(member, now=None):
    """[{trait, n, late, early, sentence}] of a member's practice, the coat first. One query."""
    now = now or timezone.now()
    by_trait: dict = {}
    for guess in Guess.objects.visible_to(member).filter(away__isnull=False).select_related("trait"):
        by_trait.setdefault(guess.trait_id, []).append(guess)
    rows = []
    for guesses in by_trait.values():
        trait = guesses[0].trait
        late = [guess.away for guess in guesses if (now - guess.at).days < MONTH_DAYS]
        early = [guess.away for guess in guesses if (now - guess.at).days >= MONTH_DAYS]
        rows.append(
            {
                "trait": trait,
                "n": len(guesses),
                "late": figures(trait, late),
                "early": figures(trait, early),
                "sentence": change(late, early),
            }
        )
    lead = {"surface": 0, "undercolor": 1, "reach": 2}
    return sorted(
        rows, key=lambda row: (lead.get(row["trait"].summary, 3), row["trait"].section, row["trait"].position)
    )


def figures(trait, away):
    """Distance, lean and share within one step in words; how many are wanting where there are too few."""
    if len(away) < FEWEST:
        return {"said": f"{len(away)} of {FEWEST} guesses that it takes to say something.", "n": len(away)}
    values = np.array(away)
    more, less = words.ends_of(trait)
    lean = float(values.mean())
    error = float(values.std(ddof=1) / np.sqrt(len(values)))
    leaning = (
        f"{abs(lean):.1f} steps {more if lean > 0 else less}" if abs(lean) > WITHIN * error else "no way to speak of"
    )
    within = int((np.abs(values) <= 1).sum())
    return {
        "said": f"{np.abs(values).mean():.1f} steps off on average, leaning {leaning}; "
        f"{within} of {len(values)} within one step.",
        "n": len(away),
    }


def change(late, early):
    """Whether somebody sees better than a month ago, as far as that can be told."""
    if len(late) < FEWEST or len(early) < FEWEST:
        return ""
    one, other = np.abs(late), np.abs(early)
    gap = float(other.mean() - one.mean())
    error = float(np.sqrt(one.var(ddof=1) / len(one) + other.var(ddof=1) / len(other)))
    if gap > WITHIN * error:
        return f"Better than before by {gap:.1f} steps."
    if gap < -WITHIN * error:
        return f"Further off than before by {-gap:.1f} steps; a rest, or another light, may help."
    return "About as before."
