"""Points added up and compared with a description, against the schedules of the trade."""

from decimal import Decimal

import pytest

from grading.points.arithmetic import Band, Line, Place, Weighing, add_up, each_line, weigh
from grading.points.questions import Behind, Said, halo, questions_of
from grading.profiles import read


def places_of(name):
    """The positions of a shipped file as Places, keyed by their codes."""

    def place(given):
        return Place(
            given["code"],
            given["code"],
            given["name"],
            Decimal(str(given["points"])),
            Decimal(str(given["floor"])) if "floor" in given else None,
            Decimal(str(given.get("step", 1))),
            given.get("by_weight", False),
            tuple(place(part) for part in given.get("parts", [])),
        )

    return [place(given) for given in read(name)["positions"]]


def bands_of(name):
    return [Band(*given["grams"], Decimal(given["points"])) for given in read(name)["weight_bands"]]


def points(**given):
    return {code: Decimal(str(value)) for code, value in given.items()}


COMMERCIAL = places_of("large_silvered_commercial")
CENTRAL = places_of("central_european_silvered")
BANDS = bands_of("central_european_silvered")


# --- the schedules


def test_the_large_commercial_schedule_is_the_trades():
    # General type 55 with its parts and color 20: common practice, no source. Fur 15, condition 10: common practice, no
    # source (a breeder's page).
    wholes = {place.code: place.points for place in COMMERCIAL}
    assert wholes == {"general_type": 55, "color": 20, "fur": 15, "condition": 10}
    parts = {part.code: part.points for part in COMMERCIAL[0].parts}
    assert parts == {"hindquarters": 20, "midsection": 15, "shoulders": 15, "head_ears": 5}
    assert add_up(COMMERCIAL, {}).possible == 100


def test_the_central_european_schedule_is_the_trades():
    # B: a breed page, read second-hand. Type 20, weight 10, fur 20, silvering with guard hairs 15, evenness 15,
    # undercolor 15, care 5; half points except weight; floors 15/15/11/11/11/3, the weight having none.
    assert [(place.code, place.points) for place in CENTRAL] == [
        ("type", 20), ("weight", 10), ("fur", 20), ("silvering", 15), ("evenness", 15), ("undercolor", 15), ("care", 5),
    ]  # fmt: skip
    assert [place.floor for place in CENTRAL if not place.by_weight] == [15, 15, 11, 11, 11, 3]
    assert [place.code for place in CENTRAL if place.step == 1] == ["weight"]
    assert all(place.step == Decimal("0.5") for place in CENTRAL if not place.by_weight)
    assert add_up(CENTRAL, {}).possible == 100


@pytest.mark.parametrize(
    ("kilograms", "given"),
    [
        # B: a breed page, read second-hand: kg 3.50=5 3.70=6 3.90=7 4.10=8 4.30=9 4.50-5.25=10 to 5.50=9;
        # under 3.5 or over 5.5 not judged.
        ("3.49", None), ("3.499", None), ("3.50", 5), ("3.69", 5), ("3.699", 5), ("3.70", 6), ("3.89", 6), ("3.90", 7),
        ("4.09", 7), ("4.10", 8), ("4.29", 8), ("4.30", 9), ("4.49", 9), ("4.499", 9), ("4.50", 10), ("5.00", 10),
        ("5.25", 10), ("5.251", 9), ("5.26", 9), ("5.50", 9), ("5.501", None), ("5.51", None), ("0.01", None),
        ("9.00", None),
    ],
)  # fmt: skip
def test_a_weight_has_the_points_of_its_band(kilograms, given):
    found = weigh(BANDS, grams=int(Decimal(kilograms) * 1000))
    assert found.points == given
    assert found.weighing is (Weighing.OUTSIDE if given is None else Weighing.IN_A_BAND)
    assert (found.lowest, found.highest) == (3500, 5500)


def test_every_gram_of_the_table_stands_in_exactly_one_band():
    for grams in range(3500, 5501):
        assert sum(band.lowest <= grams <= band.highest for band in BANDS) == 1


def test_without_a_weight_or_a_table_nothing_is_said_about_judging():
    assert weigh(BANDS, grams=None).weighing is Weighing.NOT_WEIGHED
    assert weigh([], grams=4000).weighing is Weighing.NO_TABLE


def test_an_age_class_or_a_sex_with_bands_of_its_own_is_judged_by_them_alone():
    bands = [
        Band(3000, None, Decimal(4)),
        Band(3500, 4000, Decimal(6), sex="doe"),
        Band(1000, 2000, Decimal(8), age_class=7),
        Band(1100, 1900, Decimal(9), age_class=7, sex="buck"),
    ]
    assert weigh(bands, grams=9000, sex="buck").points == 4, "no limit above"
    assert weigh(bands, grams=3600, sex="doe").points == 6
    assert weigh(bands, grams=4100, sex="doe").weighing is Weighing.OUTSIDE, "not looked up among the others"
    assert weigh(bands, grams=1500, age_class=7, sex="doe").points == 8, "the class comes before the sex"
    assert weigh(bands, grams=1500, age_class=7, sex="buck").points == 9
    assert weigh(bands, grams=3600, age_class=7, sex="buck").weighing is Weighing.OUTSIDE
    assert weigh(bands, grams=3600, age_class=8, sex="unknown").points == 4
    assert weigh([bands[2]], grams=1500, age_class=8).weighing is Weighing.NO_TABLE


# --- the sum


def test_parts_add_up_into_their_position_and_positions_into_the_total():
    added = add_up(
        COMMERCIAL,
        points(hindquarters=18, midsection=13, shoulders=12, head_ears=4, color=16, fur=13, condition=9),
    )
    assert added.lines[0].given == 18 + 13 + 12 + 4 == 47
    assert added.total == 47 + 16 + 13 + 9 == 85
    assert not added.still_open


def test_half_points_add_up_exactly():
    added = add_up(
        CENTRAL, points(type=18.5, weight=9, fur=17.5, silvering=13.5, evenness=13, undercolor=14.5, care=4.5)
    )
    assert added.total == Decimal("90.5")
    assert not added.under_floor
    assert sum(line.given for line in added.lines) == added.total


def test_an_open_position_is_left_out_on_both_sides():
    added = add_up(COMMERCIAL, points(hindquarters=18, color=16))
    assert added.total == 34
    assert added.possible_so_far == 40
    assert added.lines[0].given == 18
    assert added.lines[0].is_open
    assert [line.place.code for line in added.still_open] == [
        "midsection",
        "shoulders",
        "head_ears",
        "fur",
        "condition",
    ]
    assert add_up(COMMERCIAL, {}).lines[0].given is None


def test_a_floor_takes_nothing_away_and_only_what_lies_under_it_is_named():
    # B: floors of a breed page, read second-hand.
    at = points(type=15, weight=5, fur=15, silvering=11, evenness=11, undercolor=11, care=3)
    assert not add_up(CENTRAL, at).under_floor
    added = add_up(CENTRAL, at | points(silvering=10.5, care=2.5))
    assert [line.place.code for line in added.under_floor] == ["silvering", "care"]
    assert added.total == 15 + 5 + 15 + Decimal("10.5") + 11 + 11 + Decimal("2.5")
    assert not add_up(CENTRAL, {}).under_floor, "an open position is not under its floor"


def test_no_points_are_points_and_not_an_open_position():
    added = add_up(COMMERCIAL, points(condition=0))
    line = added.lines[-1]
    assert (line.given, line.is_open, added.possible_so_far) == (0, False, 10)


# --- the questions


def line_of(code, given, places=CENTRAL):
    added = add_up(places, points(**given) if isinstance(given, dict) else points(**{code: given}))
    return next(line for line in each_line(added.lines) if line.place.code == code)


def behind(*said, asked=None, **more):
    said = tuple(Said(trait, trait, step, goal) for trait, step, goal in said)
    return Behind(said, len({each.trait for each in said}) if asked is None else asked, **more)


WASHED_OUT = behind(("undercolor", 8, (7, 9)), ("reach", 3, (9, 10)), colour=True)


@pytest.mark.parametrize(("given", "asks"), [(15, True), (14, True), (13.5, True), (13, False), (8, False)])
def test_a_washed_out_base_beside_ninety_per_cent_of_the_points_raises_a_question(given, asks):
    found = questions_of(line_of("undercolor", given), WASHED_OUT)
    assert bool(found) is asks
    if asks:
        assert found == [
            f"Undercolor has {given} of 15 points, yet the description lies outside the goal: reach 3, goal 9 to 10. "
            f"Are both meant?"
        ]


def test_the_farthest_place_of_a_trait_counts():
    said = [("undercolor", 8, (7, 9)), ("undercolor", 3, (7, 9)), ("undercolor", 7, (7, 9))]
    (question,) = questions_of(line_of("undercolor", 15), behind(*said, asked=2))
    assert "undercolor 3" in question


@pytest.mark.parametrize(
    ("given", "steps", "asks"),
    [
        (20, (5,), True),  # two steps under the goal beside full points
        (18, (5,), False),
        (18, (4,), True),  # three steps under it beside 90 %
        (18, (5, 5), True),  # or two traits by two steps
        (20, (6,), False),  # one step is no contradiction
        (20, (9,), False),
        (17.5, (1, 1), False),
    ],
)
def test_the_nearer_to_full_points_the_less_it_takes_to_ask(given, steps, asks):
    about = behind(*((f"trait{n}", step, (7, 9)) for n, step in enumerate(steps)))
    assert bool(questions_of(line_of("type", given), about)) is asks


def test_an_answer_above_the_goal_is_as_far_outside_as_one_below():
    (question,) = questions_of(line_of("silvering", 15), behind(("surface", 9, (5, 7))))
    assert "surface 9, goal 5 to 7" in question


def test_poor_jetness_beside_full_points_for_guard_hairs_is_asked():
    assert questions_of(line_of("silvering", 15), behind(("jetness", 5, (8, 9))))


def test_a_fault_that_was_seen_is_asked_beside_high_points_only():
    about = behind(seen=("Washed-out base",))
    assert questions_of(line_of("undercolor", 14), about) == [
        "Undercolor has 14 of 15 points, yet this was seen: washed-out base. Are both meant?"
    ]
    assert not questions_of(line_of("undercolor", 12), about)


def test_full_points_for_fur_in_a_coat_that_is_not_prime_are_asked():
    about = behind(coat=True)
    assert questions_of(line_of("fur", 20), about, "in adult molt") == [
        "Fur has full points, yet the coat is in adult molt. Are both meant?"
    ]
    assert not questions_of(line_of("fur", 19.5), about, "in adult molt")
    assert not questions_of(line_of("fur", 20), about, "")
    assert not questions_of(line_of("care", 5), behind(), "in adult molt")


ALL_IN_THE_GOAL = behind(("a", 7, (7, 9)), ("b", 8, (7, 9)), asked=4)


@pytest.mark.parametrize(("given", "asks"), [(15, False), (11, False), (10.5, True), (6, True), (0, True)])
def test_low_points_beside_a_description_in_the_goal_raise_a_question_too(given, asks):
    found = questions_of(line_of("evenness", given), ALL_IN_THE_GOAL)
    assert bool(found) is asks
    assert all("What takes the points?" in question for question in found)


def test_low_points_are_not_asked_about_when_little_was_described_or_a_fault_was_seen():
    line = line_of("evenness", 6)
    assert not questions_of(line, behind(("a", 7, (7, 9)), asked=4))
    assert not questions_of(line, behind(("a", 7, (7, 9)), ("b", 6, (7, 9))))
    assert not questions_of(line, behind(("a", 7, (7, 9)), seen=("White spot",)))
    assert not questions_of(line, behind())


def test_an_open_position_is_never_asked_about():
    assert not questions_of(line_of("undercolor", {}), WASHED_OUT)
    about = behind(("bone", 1, (7, 9)))
    assert not questions_of(line_of("general_type", {"hindquarters": 20}, COMMERCIAL), about)


FULL_TYPE = points(hindquarters=20, midsection=15, shoulders=14, head_ears=5)  # 54 of 55


def test_colour_that_follows_full_type_against_the_description_gets_one_gentle_sentence():
    far = behind(("surface", 3, (7, 8)), colour=True)
    known = {"general_type": behind(body=True), "color": far}
    sentence = halo(add_up(COMMERCIAL, FULL_TYPE | points(color=19)).lines, known)
    assert sentence.startswith("Type has nearly all its points and color follows it")
    assert not halo(add_up(COMMERCIAL, FULL_TYPE | points(color=12)).lines, known), "colour does not follow"
    low = FULL_TYPE | points(hindquarters=16, color=19)
    assert not halo(add_up(COMMERCIAL, low).lines, known), "type is not full"
    assert not halo(add_up(COMMERCIAL, points(hindquarters=20, color=19)).lines, known), "type is still open"
    near = known | {"color": behind(("surface", 7, (7, 8)), colour=True)}
    assert not halo(add_up(COMMERCIAL, FULL_TYPE | points(color=19)).lines, near), "the description agrees"


def test_the_share_of_an_open_line_is_unknown():
    assert Line(COMMERCIAL[1], None).share is None
