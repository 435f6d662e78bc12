"""The pages of lines: making, changing, naming single animals, taking away; and what the animal's page says of them."""

import pytest
from django.urls import reverse

from grading.models import Trait
from herds import people
from herds.actions import lines as actions
from herds.models import Animal, Line, LineAnimal, LinePart

from .factories import make_animal, make_look
from .queries import queries_of


@pytest.fixture
def line(cast):
    return Line.objects.create(name="Slate's", foundation=cast.sire, owner=cast.keeper, herd=cast.herd)


def typed(**given):
    return {"name": "Slate's sons", "rule": "bucks", "foundation": "A1", "herd": "", "note": ""} | given


def test_a_member_makes_a_line_and_sees_its_animals(cast):
    client = cast.client_of("keeper")
    answer = client.post(reverse("line-create"), typed(shared="on"), follow=True)
    assert answer.status_code == 200
    line = Line.objects.get()
    assert (line.foundation, line.owner, line.shared) == (cast.sire, cast.keeper, True)
    assert set(line.members()) == {cast.sire, cast.daughter}
    text = answer.content.decode()
    assert "All 2 animals" in text
    assert "A3" in text


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"foundation": ""}, "Name the animal that the line goes back to, or choose a line by hand."),
        ({"foundation": "Z99"}, "No animal in the registry is called “Z99”."),
        ({"name": ""}, "This field is required."),
        ({"name": "slate's"}, "You already have a line of this name. Choose another name."),
        ({"rule": "magic"}, "Select a valid choice."),
    ],
)
def test_what_makes_no_line_is_said_in_a_sentence(cast, line, given, said):
    answer = cast.client_of("keeper").post(reverse("line-create"), typed(**given))
    assert answer.status_code == 422
    assert said in answer.content.decode().replace("&#x27;", "'")
    assert Line.objects.count() == 1


def test_nobody_makes_a_line_for_a_herd_of_others(cast):
    answer = cast.client_of("fellow").post(reverse("line-create"), typed(herd=cast.herd.pk))
    assert answer.status_code == 422
    with pytest.raises(Exception, match="A line is made for a herd of your own"):
        actions.create_line(by=cast.fellow, name="Ours", rule="all", foundation=cast.sire, herd=cast.herd)


def test_two_keepers_who_change_a_line_at_once_do_not_overwrite_each_other(cast, line):
    first, second = cast.client_of("keeper"), cast.client_of("co_owner")
    url = reverse("line-update", args=[line.pk])
    values = typed(herd=cast.herd.pk, version=line.version)
    assert first.post(url, {**values, "name": "First"}).status_code == 302
    late = second.post(url, {**values, "name": "Second"})
    assert late.status_code == 409
    assert "was changed by somebody else" in late.content.decode()
    assert "<dd>First</dd>" in late.content.decode()
    line.refresh_from_db()
    assert line.name == "First"
    again = late.context["form"].data["version"]
    assert second.post(url, {**values, "name": "Second", "version": again}).status_code == 302


def test_an_animal_is_named_taken_back_and_named_again_by_undo(cast, line):
    client = cast.client_of("keeper")
    answer = client.post(reverse("line-name", args=[line.pk]), {"animal": "M1", "part": "added"}, follow=True)
    assert "M1 Flint belongs to it." in answer.content.decode()
    assert cast.other_buck in line.members()
    taken = client.post(reverse("line-unname", args=[line.pk, cast.other_buck.pk]), follow=True).content.decode()
    assert cast.other_buck not in line.members()
    undo = reverse("line-rename", args=[line.pk, cast.other_buck.pk, "added"])
    assert f'action="{undo}"' in taken
    client.post(undo)
    assert cast.other_buck in line.members()


def test_what_cannot_be_said_of_an_animal_is_refused(cast, line):
    client = cast.client_of("keeper")
    url = reverse("line-name", args=[line.pk])
    out = client.post(url, {"animal": "A1", "part": "left_out"})
    assert (out.status_code, "is the foundation of the line" in out.content.decode()) == (422, True)
    passes = client.post(url, {"animal": "A3", "part": "passes_on"})
    assert passes.status_code == 422
    client.post(reverse("line-rename", args=[line.pk, cast.daughter.pk, "passes_on"]))
    assert not LineAnimal.objects.exists()


def test_a_line_is_taken_away_after_a_question_and_its_animals_stay(cast, line):
    client = cast.client_of("co_owner")
    url = reverse("line-delete", args=[line.pk])
    assert "this cannot be undone" in client.get(url).content.decode()
    client.post(url)
    assert not Line.objects.exists()
    assert Animal.objects.filter(pk=cast.daughter.pk).exists()


def test_the_animals_page_names_the_lines_that_its_reader_may_see(cast, line):
    url = cast.daughter.get_absolute_url()
    link = f'href="{line.get_absolute_url()}"'
    assert link in cast.client_of("keeper").get(url).content.decode()
    assert link not in cast.client_of("officer").get(url).content.decode()
    assert link not in cast.client_of("keeper").get(cast.other_buck.get_absolute_url()).content.decode()
    assert f"foundation={cast.daughter.pk}" in cast.client_of("keeper").get(url).content.decode()


def test_the_list_of_animals_is_narrowed_to_a_line_and_says_when_it_is_gone(cast, line):
    url = reverse("animal-list")
    own = cast.client_of("keeper").get(url, {"line": line.pk})
    assert {animal.pk for animal in own.context["page"]} == {cast.sire.pk, cast.daughter.pk}
    other = cast.client_of("officer").get(url, {"line": line.pk})
    assert not list(other.context["page"])
    assert "this line can no longer be shown to you" in other.content.decode()
    assert "Slate&#x27;s" not in other.content.decode()


def test_the_page_of_a_line_counts_only_looks_that_its_reader_may_see(cast, line):
    Line.objects.update(shared=True)
    surface, undercolor = Trait.objects.get(summary="surface"), Trait.objects.get(summary="undercolor")
    make_look(cast.daughter, cast.keeper, steps={surface: 6, (undercolor, "loin"): 7})
    own = cast.client_of("keeper").get(line.get_absolute_url())
    assert own.context["counts"].looks == 1
    assert "<svg" in own.context["plot"]
    other = cast.client_of("officer").get(line.get_absolute_url())
    assert (other.context["counts"].looks, other.context["plot"]) == (0, "")


def test_pages_of_lines_cost_the_same_for_many_animals_and_lines(cast, line):
    client = cast.client_of("keeper")
    pages = [line.get_absolute_url(), reverse("line-list"), cast.daughter.get_absolute_url()]
    few = [queries_of(client, page) for page in pages]
    for number in range(8):
        young = make_animal(cast.herd, sire=cast.sire, dam=cast.dam, born_on=cast.daughter.born_on)
        make_look(young, cast.keeper, steps={Trait.objects.get(summary="surface"): 6})
        more = Line.objects.create(name=f"L{number}", foundation=cast.dam, owner=cast.keeper, shared=True)
        LineAnimal.objects.create(line=line, animal=make_animal(cast.herd), part=LinePart.ADDED)
        LineAnimal.objects.create(line=more, animal=cast.sire, part=LinePart.ADDED)
    assert [queries_of(client, page) for page in pages] == few
    assert few[0] <= 20
    assert few[1] <= 6


def test_whoever_leaves_takes_their_lines_along_and_leaves_only_what_they_shared(cast, line):
    Line.objects.create(name="Mine", rule="by_hand", owner=cast.keeper)
    Line.objects.create(name="Ours", foundation=cast.sire, owner=cast.keeper, shared=True)
    LineAnimal.objects.create(line=line, animal=cast.other_buck, part=LinePart.ADDED)
    assert [row[1] for row in people.lines(cast.keeper)] == ["Slate's", "Mine", "Ours"]
    assert [row[3:] for row in people.line_animals(cast.keeper)] == [["M1 Flint", "belongs to it, added by hand"]]
    assert "Lines that you keep for yourself are deleted." in " ".join(people.explain_leaving(cast.keeper))
    people.leave(cast.keeper, cast.keeper)
    assert set(Line.objects.values_list("name", flat=True)) == {"Slate's", "Ours"}
