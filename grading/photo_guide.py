"""The photo guide: how each protocol view is taken, and what the animal must be spared."""

from .models import View

# Common practice, no source.
HOW = {
    View.LEFT_SIDE: "Lens as high as the animal's middle, all of it in the frame, head to the left, at ease.",
    View.RIGHT_SIDE: "The same from the other side, head to the right.",
    View.TOP: "From straight above, the spine straight, head to the left.",
    View.HEAD_FRONT: "Lens as high as the eyes, nose towards you, ears up.",
    View.REAR: "From behind, lens as high as the tail, so that the width of the hindquarters shows.",
    View.PARTED_LOIN: "Blow into the coat or part it until the skin is a line. Close, no flash. White spots show here.",
    View.PARTED_RUMP: "The same over the hips.",
    View.FEET_BELLY: "A second person leans it back against the body, one arm under the hindquarters. Seconds only.",
    View.NAILS_EYE: "From the side and close: an eye and the nails of a fore foot in one frame.",
    View.EAR_MARK: "Lay the left ear on your flat hand, light from the side, the whole mark sharp. Do not pull.",
    View.OTHER: "Whatever should stay in sight: a white spot, a scar, a stain.",
}
LIGHT = (
    "Take every animal in the same light: open shade or an overcast sky, no flash, no sun. With a reference card in "
    "the frame the colour can be measured later; without one the photo is for the eye only."
)
# Handling is common practice, no source; the heat figures are a textbook's, as the club's settings have them.
CAUTIONS = (
    "Never hold it by the ears, or by the scruff alone. One hand under the chest, one under the hindquarters; a back "
    "that twists can break.",
    "Use a table that does not slip, and keep it short: some views today, the others another day.",
    "Stop at panting or a wet nose: that is an emergency. Bring it into the cool and call a vet. Take no photos in the "
    "heat; above 32 °C a rabbit that is not used to it can die.",
    "A vet, the law where you live and the club's rules come before any photo.",
)
SHORT_CAUTION = "Support its hindquarters; stop at panting or a wet nose."
WHITE_SPOT_DAYS = 21
WHITE_SPOTS = (
    "White spots hide in the silver later. While the coat is still solid, photograph every white place now, as another "
    "view."
)


def guide():
    """(view, how to take it) in the protocol's order, 'another view' last."""
    return [(view, HOW[view]) for view in View]


AS_BEFORE = {View.RIGHT_SIDE: View.LEFT_SIDE, View.PARTED_RUMP: View.PARTED_LOIN}


def in_full(view):
    """How a view is taken, in words that stand alone."""
    before = AS_BEFORE.get(View(view))
    return f"{HOW[before]} {HOW[view]}" if before else HOW[view]


def note_for(animal, day):
    """What else to think of at this animal's age; empty when there is nothing."""
    age = animal.age_days(day)
    return WHITE_SPOTS if age is not None and 0 <= age <= WHITE_SPOT_DAYS else ""
