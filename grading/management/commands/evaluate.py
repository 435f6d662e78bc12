import json

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from grading.actions.evaluations import run_here
from grading.models import Merit, RunState, Trait
from herds.models import Breed

FIGURES = (
    "looks", "animals", "graders", "herds", "refused", "mean", "base", "variances", "errors", "heritability",
    "heritability_low", "heritability_high", "repeatability", "converged", "rounds", "trend", "warnings",
)  # fmt: skip


class Command(BaseCommand):
    help = "Run the mixed model over a breed's looks now, keep what it finds, and print merits."

    def add_arguments(self, parser):
        parser.add_argument("--trait", metavar="CODE", help="Only this trait, such as surface_shade.")
        parser.add_argument("--breed", metavar="SLUG", help="The breed; not needed where there is one.")
        parser.add_argument("--json", action="store_true", help="Everything as JSON, merits of every animal included.")
        parser.add_argument("--most", type=int, default=10, help="So many animals a trait without --json (default 10).")

    def handle(self, *, trait, breed, json, most, **options):
        try:
            run = run_here(breed=self.breed(breed), only=self.trait(trait))
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from None
        if run.state != RunState.DONE:
            raise CommandError(run.problem or f"The run {run.get_state_display()}.")
        found = [as_data(each) for each in run.traits.select_related("trait")]
        if json:
            self.stdout.write(dumped(run, found))
            return
        for each in found:
            self.say(each, most)

    def breed(self, slug):
        breeds = Breed.objects.filter(slug=slug) if slug else Breed.objects.filter(animals__looks__current=True)
        found = list(breeds.distinct())
        if len(found) == 1:
            return found[0]
        names = ", ".join(Breed.objects.order_by("slug").values_list("slug", flat=True))
        if slug or found:
            raise CommandError(f"Name one breed with --breed: {names}.")
        raise CommandError("No look is finished yet, so there is nothing to evaluate.")

    def trait(self, code):
        if not code:
            return None
        found = Trait.objects.filter(code=code).first()
        if found is None:
            names = ", ".join(Trait.objects.values_list("code", flat=True))
            raise CommandError(f"There is no trait {code}. There are: {names}.")
        return found

    def say(self, each, most):
        self.stdout.write(f"\n{each['name']}: {each['looks']} looks of {each['animals']} animals")
        if each["refused"]:
            self.stdout.write(f"  {each['refused']}")
            return
        low, high = each["heritability_low"], each["heritability_high"]
        self.stdout.write(f"  heritability {each['heritability']:.2f} ({low:.2f} to {high:.2f})")
        for warning in each["warnings"]:
            self.stdout.write(f"  {warning}")
        for merit in each["merits"][:most]:
            self.stdout.write(
                f"  {merit['animal']:>8}  {merit['merit']:+.3f}  {merit['reliability']:.2f}  {merit['name']}"
            )


def as_data(evaluation):
    """One trait's figures, and its merits from the highest to the lowest."""
    merits = Merit.objects.filter(evaluation=evaluation).select_related("animal").order_by("-value", "animal")
    return {
        "trait": evaluation.trait.code,
        "name": evaluation.trait.name,
        **{name: getattr(evaluation, name) for name in FIGURES},
        "merits": [
            {"animal": row.animal_id, "name": str(row.animal), "merit": row.value, "reliability": row.reliability}
            for row in merits
        ],
    }


def dumped(run, found):
    together = run.together
    return json.dumps(
        {"run": run.pk, "breed": run.breed.slug, "method": run.method, "counts": run.counts, "warnings": run.warnings,
         "together": together, "traits": found}, indent=1,
    )  # fmt: skip
