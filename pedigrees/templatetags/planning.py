"""Tags of the planner's pages: {% load planning %}."""

from django import template

from pedigrees.planning.ranking import chance_words

register = template.Library()


@register.filter
def of(found, key):
    """The entry of a dict by a key that is a variable: {{ plan.cautions|of:doe.pk }}."""
    return found.get(key)


@register.simple_tag
def coat_of_pair(pair):
    """What components/coat.html takes for the expected kits; None unless surface and undercolor both are known."""
    both = {"surface": pair.surface, "undercolor": pair.undercolor}
    if any(each is None or not each.known for each in both.values()):
        return None
    coat = {name: max(1, min(9, round(each.mean))) for name, each in both.items()}
    return coat | {f"{name}_text": f"{each.mean:.1f}" for name, each in both.items()}


@register.simple_tag
def kits_in_ten(pair):
    """The chance of both goals in words, for a cell of the grid."""
    return chance_words(pair.chance) if pair.chance == pair.chance else "chance not known"
