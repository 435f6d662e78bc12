"""The sire page with merits: what the model took away adds up, who may read what, and nothing ranked too early."""

import re
from datetime import timedelta

import numpy as np
import pytest
import statsmodels.api as sm
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone
from scipy import stats

from clubsite.members.models import Club
from grading import evaluation as model
from grading import fade, faults_thrown, merits, sire_merits, standing, taken_away, twoway
from grading.actions.evaluations import run_here
from grading.level_words import EFFECT_WORDS, grader_names, graders_of, level_words
from grading.models import Answer, FindingKind, LookFinding, Trait
from grading.running import reading
from grading.running.reading import EFFECTS
from herds.models import Animal, Herd

from .factories import make_animal, make_evaluation, make_herd, make_look, make_member, make_profile
from .pages.world import make_rich

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


@pytest.mark.parametrize(
    ("effect", "key", "words"),
    [
        ("grader and year", "7:2025", "a grader in 2025"),
        ("grader and year", "8:2025", "Edda Winslow in 2025"),
        ("grader and year", "-1:2025", "an unknown grader in 2025"),
        ("mode", "photo", "from photos"),
        ("age", "2", "6 to 9 months old"),
        ("age", "13", "3 years old, second quarter"),
        ("age", "32", "8 years old and more"),
        ("age", "-1", "age not known"),
        ("coat stage", "past_prime", "coat past prime"),
        ("coat stage", "", "coat stage not noted"),
        ("half-year", "2025:2", "July to December 2025"),
        ("an old effect", "x", "x"),
    ],
)
def test_levels_of_the_model_are_said_in_words(effect, key, words):
    assert level_words(effect, key, {8: "Edda Winslow"}) == words


def test_every_effect_of_a_run_has_words():
    assert set(EFFECT_WORDS) == set(EFFECTS)


def test_a_grader_is_named_to_officers_and_to_that_grader_alone(cast):
    keys = graders_of({f"{cast.grader.pk}:2025": [0.1, 9], f"{cast.keeper.pk}:2024": [0.2, 4], "-1:2025": [0, 1]})
    assert keys == {cast.grader.pk, cast.keeper.pk}
    assert grader_names(cast.officer, keys) == {cast.grader.pk: "Edda Winslow", cast.keeper.pk: "Ida Ashgrove"}
    assert grader_names(cast.grader, keys) == {cast.grader.pk: "Edda Winslow"}
    assert grader_names(cast.fellow, keys) == {}


# --- what the model took away, of a set that is evaluated for real ----------------------------------------------------


@pytest.fixture
def graded(cast):
    """Six sires with five kits of two dams each; the last sire's kits are brighter, and mostly seen by a lenient grader
    in prime coat. Kits are looked at young in juvenile molt and grown, for surface shade and undercolor."""
    rng = np.random.default_rng(11)
    surface, undercolor = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_profile(cast.sire.breed, traits=[surface, undercolor])
    lenient = make_member("Lenient Grader")
    third = make_herd(make_member("Una Farrow"), name="Farrow")
    herds = [cast.herd, cast.other_herd, third]
    long_ago = TODAY() - timedelta(days=1200)
    sires = [make_animal(cast.herd, f"S{i}", sex="buck", born_on=long_ago) for i in range(6)]
    for i, sire in enumerate(sires):
        dams = [make_animal(cast.herd, f"D{i}{j}", sex="doe", born_on=long_ago) for j in range(2)]
        for number in range(5):
            born = TODAY() - timedelta(days=420 + 40 * number)
            kit = make_animal(herds[number % 3], f"K{i}{number}", sire=sire, dam=dams[number % 2], born_on=born)
            true = 5 + (i - 2.5) * 0.4 + rng.normal(0, 0.4)
            looks = [
                (cast.keeper, "juvenile_molt", 80, -1),
                (lenient, "prime", 300, 1.5),
                (cast.grader, "prime", 390, 0),
            ]
            for observer, coat, days, lean in looks[1:] if i == 5 else looks:
                step = int(np.clip(round(true + lean + rng.normal(0, 0.4)), 1, 9))
                under = int(np.clip(round(11 - true + rng.normal(0, 0.4)), 1, 9))
                make_look(
                    kit, observer, coat_stage=coat, observed_on=born + timedelta(days=days),
                    steps={surface: step, **dict.fromkeys([(undercolor, site) for site in undercolor.sites], under)},
                )  # fmt: skip
    run = run_here(breed=cast.sire.breed, only=surface)
    assert run.state == "done", run.problem
    return sires


def words_of(page):
    """What a page says, without its drawings and tags."""
    return re.sub(r"<svg[^<]*(?:<(?!/svg>)[^<]*)*</svg>|<[^>]+>", " ", page)


def taken_by(member, sire):
    found = merits.current(sire.breed_id)
    looks = twoway.current_looks(sire.breed_id).filter(animal__sire=sire)
    return sire_merits.taken_of(sire, member, Club.current(), found, looks, everybody=True)


def surface_of(taken):
    return next(part for part in taken.leading if part.found.trait.summary == "surface")


def test_what_was_taken_away_adds_up_to_what_the_package_says_of_the_same_looks(cast, graded):
    """Checked against a second solution of the whole model, from the arrays that the run reads."""
    breed = cast.sire.breed_id
    found = merits.current(breed).surface
    arrays = reading.read_looks(breed)
    value = reading.read_steps(arrays, breed, found.trait_id)
    records = arrays.records(value)
    solution = model.solve(records, arrays.pedigree, model.Variances(**found.variances))
    merit, row = solution.merit, arrays.animal
    fixed = {name: np.asarray(table)[arrays.fixed[name]] for name, table in solution.fixed.items()}
    apart = value - sum(fixed.values()) - merit[row] - solution.permanent[row]
    for sire in graded:
        his = arrays.pedigree.sire[row] == np.flatnonzero(arrays.ids == sire.pk)[0]
        taken = surface_of(taken_by(cast.keeper, sire)).found
        assert taken.looks == his.sum()
        assert taken.difference == pytest.approx(value[his].mean() - value.mean(), abs=1e-9)
        for part in taken.parts:
            table = fixed[part.effect]
            assert part.steps == pytest.approx(table[his].mean() - table.mean(), abs=1e-6), part.effect
        parents = merit[arrays.pedigree.sire[row[his]]].mean() / 2 + merit[arrays.pedigree.dam[row[his]]].mean() / 2
        middle = (merit[row] + solution.permanent[row]).mean()
        assert taken.own + taken.dams == pytest.approx(parents - middle, abs=1e-6)
        rest = (merit[row[his]] + solution.permanent[row[his]] + apart[his]).mean() - parents
        assert taken.rest == pytest.approx(rest, abs=1e-6)
        total = sum(part.steps for part in taken.parts) + taken.own + taken.dams + taken.rest
        assert total == pytest.approx(taken.difference, abs=1e-9)
        shown = surface_of(taken_by(cast.keeper, sire))
        lines = [each["steps"] for each in shown.rows] + [steps for _, _, steps in shown.left]
        printed = sum(float(each.replace("−", "-")) for each in lines)
        assert printed == pytest.approx(taken.difference, abs=0.005 * len(lines) + 0.005)


def test_the_level_keys_are_those_of_the_run(cast, graded):
    arrays = reading.read_looks(cast.sire.breed_id)
    rows = taken_away.read_looks(twoway.current_looks(cast.sire.breed_id))
    assert rows.look.tolist() == arrays.look.tolist()
    for effect in EFFECTS:
        said = [arrays.levels[effect][code] for code in arrays.fixed[effect].tolist()]
        assert rows.level[effect] == said, effect


def test_a_lenient_grader_and_coats_are_named_in_words_a_breeder_says(cast, graded):
    part = surface_of(taken_by(cast.fellow, graded[5]))
    assert part.found.difference > 0.5
    assert part.found.taken > 0.2
    assert part.words.startswith("His 5 kits were graded ")
    assert "brighter than the breed's average look" in part.words
    assert "lenient graders" in part.words
    assert "Lenient Grader" not in part.words


def test_levels_name_graders_to_officers_and_put_the_others_together(cast, graded):
    def levels(member):
        part = surface_of(taken_by(member, graded[5])).found.parts[0]
        return {level.words for level in part.levels if level.looks}

    assert any(words.startswith("Lenient Grader in") for words in levels(cast.officer))
    assert all(words.startswith("a grader in") for words in levels(cast.fellow))
    part = surface_of(taken_by(cast.fellow, graded[5])).found.parts[0]
    assert sum(level.looks for level in part.levels) == part_looks(taken_by(cast.fellow, graded[5]))
    assert sum(level.share * level.steps for level in part.levels) == pytest.approx(part.steps)


def part_looks(taken):
    return surface_of(taken).found.looks


def test_a_merit_that_is_not_shared_is_not_worked_out_of_the_parts_either(cast, graded):
    mine, theirs = (surface_of(taken_by(member, graded[5])).found for member in (cast.keeper, cast.fellow))
    assert mine.own is not None
    assert mine.dams is not None
    assert (theirs.own, theirs.dams) == (None, None)
    assert theirs.rest == pytest.approx(mine.left)
    Herd.objects.filter(pk=cast.herd.pk).update(shares_merits=True)
    assert surface_of(taken_by(cast.fellow, graded[5])).found.own == pytest.approx(mine.own)


def test_a_look_given_after_the_run_waits_for_the_next(cast, graded):
    before = surface_of(taken_by(cast.keeper, graded[5]))
    surface = Trait.objects.get(summary="surface")
    make_look(graded[5].sired.first(), cast.keeper, steps={surface: 1})
    after = taken_by(cast.keeper, graded[5])
    assert after.left_out == 1
    assert surface_of(after).found.difference == pytest.approx(before.found.difference)


def test_the_page_tells_all_of_it_and_no_number_is_none(cast, graded):
    run_here(breed=cast.sire.breed, only=Trait.objects.get(summary="undercolor"))
    page = cast.client_of("keeper").get(reverse("sire-detail", args=[graded[5].pk])).content.decode()
    for words in (
        "What he breeds on", "As graded, and what the model took away", "who graded, and when", "from him",
        "from the dams", "Fade of undercolor with age", "White spots and faults thrown", "progeny counted by dam",
        "Too few seniors to tell", "In 95 of 100 cases",
    ):  # fmt: skip
        assert words in page, words
    assert not re.search(r"\b(nan|None|inf)\b", words_of(page))


# --- merits: who reads them, and who is ranked ------------------------------------------------------------------------


@pytest.fixture
def ranked(cast):
    """Two bucks with eight young each in three herds, and a buck with two; a run made by hand."""
    surface, undercolor = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_profile(cast.sire.breed, traits=[surface, undercolor])
    first, second = make_rich(cast)
    few = make_animal(cast.herd, "A9", sex="buck")
    for number in range(2):
        born = TODAY() - timedelta(days=300)
        kit = make_animal(cast.herd, f"A9{number}", sire=few, dam=cast.dam, born_on=born)
        make_look(kit, cast.keeper, steps={surface: 9, (undercolor, "loin"): 9})
    value = {first: (0.2, 0.8), second: (0.9, 0.7), few: (2.5, 0.2)}
    value |= {kit: (0.1 * number, 0.4) for number, kit in enumerate(first.sired.all())}
    make_evaluation(cast.sire.breed, {surface: value, undercolor: {k: (-v, r) for k, (v, r) in value.items()}},
                    genetic=-0.5)  # fmt: skip
    return first, second, few


def sire_page(cast, who, sire):
    return cast.client_of(who).get(reverse("sire-detail", args=[sire.pk]))


def test_the_owner_chooses_whether_the_club_reads_merits(cast, ranked):
    first = ranked[0]
    refused = sire_page(cast, "fellow", first).context["merits"]
    assert refused.refusal.startswith("The herd that keeps this animal does not share merits")
    assert refused.leading == []
    mine = sire_page(cast, "keeper", first)
    assert "What the club sees of him" in mine.content.decode()
    assert "yours alone" in mine.content.decode()
    row = mine.context["merits"].leading[0]
    assert (row["step"], row["reliability"], row["known"], row["goal"]) == ("5.2", "80\xa0%", "well known", "6 to 8")
    assert sire_page(cast, "mentor", first).context["merits"].leading
    assert not sire_page(cast, "revoked_mentor", first).context["merits"].leading
    Herd.objects.filter(pk=cast.herd.pk).update(shares_merits=True)
    assert sire_page(cast, "fellow", first).context["merits"].leading[0]["step"] == "5.2"


def test_the_interval_is_two_errors_either_way(cast, ranked):
    """5.2 -+ 1.96 sqrt((1 - 0.8) 0.6): the prediction error variance by its definition."""
    half = 1.96 * (0.2 * 0.6) ** 0.5
    row = sire_page(cast, "keeper", ranked[0]).context["merits"].leading[0]
    assert row["interval"] == f"{5.2 - half:.1f} to {5.2 + half:.1f}"


def test_the_plot_shows_only_progeny_whose_merits_may_be_read(cast, ranked):
    def shown(who):
        return {row[0].split(" ")[0] for row in sire_page(cast, who, ranked[0]).context["merits"].table}

    marks = set(ranked[0].sired.filter(herd=cast.other_herd).values_list("mark_text", flat=True))
    assert shown("fellow") == marks
    assert shown("keeper") == {"A1", *ranked[0].sired.filter(herd=cast.herd).values_list("mark_text", flat=True)}
    assert sire_page(cast, "keeper", ranked[0]).context["merits"].svg


def test_before_the_first_run_the_page_says_so_and_works(cast):
    make_profile(cast.sire.breed)
    make_rich(cast)
    page = sire_page(cast, "keeper", cast.sire)
    assert "The club has not evaluated this breed yet" in page.content.decode()
    assert page.context["taken"] is None


def test_nobody_is_ranked_by_merit_under_five_progeny_of_two_dams(cast, ranked):
    first, second, few = ranked
    client = cast.client_of("keeper")
    Herd.objects.update(shares_merits=True, shares_looks=True)
    rows = {
        sort: [row["sire"] for row in client.get(reverse("sire-list"), {"sort": sort}).context["page"]]
        for sort in ("merit_surface", "-merit_surface", "merit_undercolor", "-merit_undercolor")
    }
    assert rows["-merit_surface"] == [second, first, few]
    assert rows["merit_surface"] == [first, second, few]
    assert rows["-merit_undercolor"] == [first, second, few]
    page = words_of(client.get(reverse("sire-list"), {"sort": "-merit_surface"}).content.decode())
    assert "Not ranked: too few" in page
    assert "7.5" not in page  # what the model makes of the buck with two kits
    lines = client.get(reverse("sire-list"), {"as": "csv"}).content.decode().splitlines()
    assert "merit surface shade" in lines[0]
    assert any("80\xa0%" in line for line in lines)
    assert not any("7.5" in line for line in lines)


def test_a_sire_whose_merit_may_not_be_read_stands_behind_those_told(cast, ranked):
    first, second, few = ranked
    Herd.objects.update(shares_looks=True)
    page = cast.client_of("fellow").get(reverse("sire-list"), {"sort": "merit_surface"})
    assert [row["sire"] for row in page.context["page"]] == [second, first, few]
    assert [row["merit"].get("why") for row in page.context["page"]] == [None, "not shared", "Not ranked: too few"]


def test_a_large_clubs_list_ranks_by_merit_alike(cast, ranked, monkeypatch):
    Herd.objects.update(shares_merits=True, shares_looks=True)
    monkeypatch.setattr(standing, "LARGE", 1)
    cache.clear()
    client = cast.client_of("keeper")
    for sort, wanted in (("-merit_surface", (1, 0, 2)), ("merit_surface", (0, 1, 2)), ("-merit_undercolor", (0, 1, 2))):
        found = client.get(reverse("sire-list"), {"sort": sort}).context["page"]
        assert [row["sire"] for row in found] == [ranked[place] for place in wanted], sort


def test_an_animals_page_says_its_merits_to_those_who_may_read_them(cast, ranked):
    first = ranked[0]
    kit = first.sired.filter(herd=cast.herd).first()
    page = cast.client_of("keeper").get(reverse("animal-detail", args=[first.pk])).content.decode()
    assert "Surface shade 5.2" in page
    assert "well known (reliability 80\xa0%). Goal 6 to 8." in page
    assert reverse("sire-detail", args=[first.pk]) in page
    other = cast.client_of("fellow").get(reverse("animal-detail", args=[kit.pk])).content.decode()
    assert "does not share merits with the club" in other
    assert "Surface shade 5" not in other
    new = make_animal(cast.herd, "A77", sex="doe")
    page = cast.client_of("keeper").get(reverse("animal-detail", args=[new.pk])).content.decode()
    assert "is not in the last evaluation" in page


def test_a_trait_in_which_nothing_is_inherited_says_so_instead_of_a_number(cast):
    surface = Trait.objects.get(summary="surface")
    make_evaluation(cast.sire.breed, {surface: {cast.sire: (0.0, 0.0)}}, variances={"animal": 0.0, "residual": 1.0})
    page = cast.client_of("keeper").get(reverse("animal-detail", args=[cast.sire.pk])).content.decode()
    assert "nothing inherited seen in the breed" in page
    assert "reliability 0" not in page


# --- fade and faults against other libraries --------------------------------------------------------------------------


@pytest.fixture
def seniors(cast):
    """Seven progeny, looked at up to three times in prime coat after the first birthday; they fade by 0.5 a year."""
    rng = np.random.default_rng(3)
    undercolor = Trait.objects.get(summary="undercolor")
    make_profile(cast.sire.breed)
    long_ago = TODAY() - timedelta(days=2500)
    Animal.objects.filter(pk__in=[cast.sire.pk, cast.dam.pk]).update(born_on=long_ago)
    rows = []
    for number, times in enumerate((3, 2, 2, 3, 2, 2, 1)):
        born = TODAY() - timedelta(days=1500)
        kit = make_animal(cast.herd, f"N{number}", sire=cast.sire, dam=cast.dam, born_on=born)
        for time in range(times):
            age = int(400 + 330 * time + rng.integers(0, 90))
            step = int(np.clip(round(7 - 0.5 * (age / 365.25 - 1) + rng.normal(0, 0.7)), 1, 9))
            make_look(kit, cast.keeper, observed_on=born + timedelta(days=age), steps={(undercolor, "loin"): step})
            rows.append((kit.pk, age / 365.25, step))
    make_look(kit, cast.keeper, steps={(undercolor, "loin"): 1}, coat_stage="adult_molt")  # does not count
    return np.array(rows)


def test_fade_agrees_with_least_squares_within_animals(cast, seniors):
    """Against statsmodels: ordinary least squares with a mean for each animal, errors clustered by animal."""
    twice = [key for key in np.unique(seniors[:, 0]) if (seniors[:, 0] == key).sum() > 1]
    rows = seniors[np.isin(seniors[:, 0], twice)]
    own_means = (rows[:, :1] == np.array(twice)).astype(float)
    fit = sm.OLS(rows[:, 2], np.column_stack([rows[:, 1], own_means])).fit(
        cov_type="cluster", cov_kwds={"groups": rows[:, 0], "use_correction": False}
    )
    error = fit.bse[0] * (len(twice) / (len(twice) - 1)) ** 0.5
    half = stats.t.ppf(0.975, len(twice) - 1) * error
    found = fade.fade_of(twoway.current_looks(cast.sire.breed_id))
    assert (found.animals, found.looks) == (6, 14)
    assert [found.slope, found.low, found.high] == pytest.approx([fit.params[0], fit.params[0] - half,
                                                                  fit.params[0] + half])  # fmt: skip


def test_fade_takes_out_what_the_run_found_of_grader_and_season(cast, seniors):
    plain = fade.fade_of(twoway.current_looks(cast.sire.breed_id))
    undercolor = Trait.objects.get(summary="undercolor")
    years = {day.year for day in twoway.current_looks(cast.sire.breed_id).values_list("observed_on", flat=True)}
    drift = {f"{cast.keeper.pk}:{year}": [0.25 * (year - min(years)), 5] for year in years}
    run = make_evaluation(cast.sire.breed, {undercolor: {}}, fixed={"grader and year": drift})
    found = fade.fade_of(twoway.current_looks(cast.sire.breed_id), run.traits.get())
    assert found.slope == pytest.approx(plain.slope - 0.25, abs=0.1)


def test_fade_is_told_from_five_animals_on_and_refused_below(cast, seniors):
    page = sire_page(cast, "keeper", cast.sire)
    assert page.context["fade"].sentence.startswith("Undercolor of his progeny ")
    assert page.context["fade"].rows[0][:3] == ["His progeny", 6, 14]
    Club.objects.update_or_create(pk=1, defaults={"ranking_progeny": 7})
    page = sire_page(cast, "keeper", cast.sire)
    assert "6 of his progeny were looked at twice or more" in page.content.decode()
    assert page.context["fade"].rows == []


@pytest.mark.parametrize(
    ("seen", "checked", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_the_interval_of_a_share_is_wilsons(seen, checked, low, high):
    """Source: Newcombe (1998), Statistics in Medicine 17:857-872, table I, method 3; the values are from memory."""
    assert faults_thrown.Share(seen, checked, 3).interval == pytest.approx((low, high), abs=6e-5)


def test_white_spots_are_counted_once_an_animal_among_those_looked_at_for_them(cast, seniors):
    spot = FindingKind.objects.get(code="white_spot")
    looks = list(twoway.current_looks(cast.sire.breed_id).order_by("animal", "pk"))
    states = ["seen", "seen", "not_seen"] + ["not_seen"] * 6 + ["not_checked"] * (len(looks) - 9)
    LookFinding.objects.bulk_create(
        LookFinding(look=look, kind=spot, state=state) for look, state in zip(looks, states, strict=True)
    )
    told = {look.animal_id for look, state in zip(looks, states, strict=True) if state != "not_checked"}
    page = sire_page(cast, "keeper", cast.sire)
    (line,) = [each for each in page.context["faults"] if each.kind == spot]
    assert page.context["faults"][0] == line
    assert line.his.startswith(f"1 of {len(told)} (")
    assert line.club == "too few to say"  # one herd


def test_a_finding_looked_for_in_few_is_held_back_from_those_who_may_not_see_the_looks(cast, ranked):
    spot = FindingKind.objects.get(code="white_spot")
    look = twoway.current_looks(cast.sire.breed_id).filter(animal__sire=ranked[0], animal__herd=cast.herd).first()
    LookFinding.objects.create(look=look, kind=spot, state="seen")
    assert sire_page(cast, "keeper", ranked[0]).context["faults"][0].his.startswith("held back")
    Herd.objects.update(shares_looks=True)
    assert sire_page(cast, "keeper", ranked[0]).context["faults"][0].his.startswith("1 of 1")


def test_a_trait_told_of_few_kits_is_held_back_from_those_who_may_not_see_each(cast, ranked):
    reach = Trait.objects.get(summary="reach")
    look = twoway.current_looks(cast.sire.breed_id).filter(animal__sire=ranked[0], animal__herd=cast.herd).first()
    Answer.objects.create(look=look, trait=reach, site="loin", step=2)
    make_evaluation(cast.sire.breed, {reach: {ranked[0]: (0.0, 0.5)}})
    told = sire_page(cast, "fellow", ranked[0]).context["taken"]
    assert (told.held, told.others) == (1, [])
    assert len(told.leading) == 2
    Herd.objects.update(shares_looks=True)
    told = sire_page(cast, "fellow", ranked[0]).context["taken"]
    assert [part.found.kits for part in told.others] == [1]


def test_progeny_are_counted_by_dams_herds_and_graders(cast, ranked):
    Herd.objects.update(shares_looks=True)
    counted = {name: lines for name, _title, lines in sire_page(cast, "fellow", ranked[0]).context["counted"]}
    assert sum(line[2] for line in counted["dam"]) == 8
    assert {line[0] for line in counted["herd"]} == {"Ashgrove", "Millbrook", "Farrow"}
    assert [(line[0], line[3]) for line in counted["grader"]] == [("2 graders", 16)]
    officer = {name: lines for name, _title, lines in sire_page(cast, "officer", ranked[0]).context["counted"]}
    assert {line[0] for line in officer["grader"]} == {"Ida Ashgrove", "Edda Winslow"}


@pytest.mark.parametrize("more", [0, 9])
def test_the_pages_ask_the_same_number_of_questions_for_many_kits(cast, ranked, more, django_assert_max_num_queries):
    surface, undercolor = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    for number in range(more):
        kit = make_animal(cast.herd, f"Q{number}", sire=ranked[0], dam=cast.dam, born_on=TODAY() - timedelta(days=300))
        make_look(kit, cast.grader, steps={surface: 5, (undercolor, "loin"): 6})
    client = cast.client_of("keeper")
    addresses = (
        (reverse("sire-detail", args=[ranked[0].pk]), 42),
        (reverse("sire-list") + "?sort=-merit_surface", 17),
        (reverse("animal-detail", args=[ranked[0].pk]), 34),
    )
    for address, most in addresses:
        client.get(address)  # what is kept club-wide is worked out once
        with django_assert_max_num_queries(most):
            client.get(address)


def test_the_herds_page_tells_its_keepers_what_the_club_sees_and_its_form_changes_it(cast):
    address = reverse("herd-detail", args=[cast.herd.slug])
    assert "The club sees the registry cards." in cast.client_of("keeper").get(address).content.decode()
    assert "The club sees" not in cast.client_of("fellow").get(address).content.decode()
    form = cast.client_of("keeper").get(reverse("herd-update", args=[cast.herd.slug])).context["form"]
    given = {name: field.value() or "" for name, field in ((each.name, each) for each in form)}
    given = {name: value for name, value in given.items() if value is not False} | {"shares_merits": "on"}
    cast.client_of("keeper").post(reverse("herd-update", args=[cast.herd.slug]), given)
    assert "The club sees the registry cards, merits." in cast.client_of("keeper").get(address).content.decode()
