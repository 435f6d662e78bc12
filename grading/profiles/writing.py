"""Puts the parts of an edition's document into the database; a part that is there is brought to what is given.

A document is what a TOML file of an edition holds, as `reading` gives it. Rows keep their keys where their codes stay.
Every function takes `apps`, so that a migration's own models can be written too.
"""

from django.apps import apps as installed

GRAMS_PER_POUND = 453.59237  # exact: 0.45359237 kg, the international agreement of 1959
WHICH = ("lowest", "ideal", "highest")


def write_edition(profile, document, apps=installed):
    """All parts of the document into a draft."""
    write_positions(profile, document["positions"], apps)
    write_age_classes(profile, document["age_classes"], apps)
    write_weight_bands(profile, document.get("weight_bands", []), apps)
    write_traits(profile, document["traits"], apps)
    write_findings(profile, document["findings"], apps)


def write_positions(profile, positions, apps=installed):
    """Positions with their parts, in order."""
    model = apps.get_model("grading", "Position")
    rows = {row.code: row for row in model.objects.filter(profile_id=profile.pk)}
    model.objects.filter(profile_id=profile.pk, by_weight=True).update(by_weight=False)  # one at a time may be
    place, kept = 0, set()

    def save(given, parent):
        nonlocal place
        place += 1
        row = rows.get(given["code"]) or model(profile_id=profile.pk, code=given["code"])
        row.name, row.points, row.floor = given["name"], given["points"], given.get("floor")
        row.step, row.by_weight = given.get("step", 1), given.get("by_weight", False)
        row.parent, row.position = parent, place
        row.save()
        _write_basis(row, given.get("behind", []), given.get("faults", []), apps)
        kept.add(row.code)
        return row

    for whole in positions:
        row = save(whole, None)
        for part in whole.get("parts", []):
            save(part, row)
    model.objects.filter(profile_id=profile.pk).exclude(code__in=kept).delete()


def _write_basis(position, traits, findings, apps):
    """The traits and findings that describe what the position gives points for."""
    model = apps.get_model("grading", "Basis")
    model.objects.filter(position_id=position.pk).delete()
    for field, kind, codes in (("trait_id", "Trait", traits), ("finding_id", "FindingKind", findings)):
        ids = dict(apps.get_model("grading", kind).objects.filter(code__in=codes).values_list("code", "pk"))
        model.objects.bulk_create(model(position_id=position.pk, **{field: ids[code]}) for code in codes)


def write_weight_bands(profile, bands, apps=installed):
    """The points by weight: {points, grams: [lowest, highest] or [lowest]}, with age_class and sex, or for all."""
    model = apps.get_model("grading", "WeightBand")
    model.objects.filter(profile_id=profile.pk).delete()
    if not bands:
        return
    classes = dict(
        apps.get_model("grading", "AgeClass").objects.filter(profile_id=profile.pk).values_list("code", "pk")
    )
    for given in bands:
        lowest, *highest = given["grams"]
        model.objects.create(
            profile_id=profile.pk,
            age_class_id=classes[given["age_class"]] if "age_class" in given else None,
            sex="" if given.get("sex", "both") == "both" else given["sex"],
            lowest_grams=lowest,
            highest_grams=highest[0] if highest else None,
            points=given["points"],
        )


def write_age_classes(profile, classes, apps=installed):
    """Age classes by their months, and the weights of each by sex."""
    model = apps.get_model("grading", "AgeClass")
    rows = {row.code: row for row in model.objects.filter(profile_id=profile.pk)}
    for given in classes:
        row = rows.get(given["code"]) or model(profile_id=profile.pk, code=given["code"])
        start, *end = given["months"]
        row.name, row.from_months, row.to_months = given["name"], start, end[0] if end else None
        row.save()
        _write_weights(row, weights_in_grams(given), apps)
    model.objects.filter(profile_id=profile.pk).exclude(code__in=[given["code"] for given in classes]).delete()


def weights_in_grams(given):
    """{sex or 'both': {lowest, ideal, highest}} of an age class, in grams, whichever unit the file uses."""
    pounds = given.get("weights_lb", {})
    return {
        sex: {which: round(float(weight) * GRAMS_PER_POUND) for which, weight in limits.items()}
        for sex, limits in pounds.items()
    } | given.get("weights_g", {})


def _write_weights(age_class, weights, apps):
    model = apps.get_model("grading", "WeightClass")
    model.objects.filter(age_class_id=age_class.pk).delete()
    for sex, limits in weights.items():
        grams = {f"{which}_grams": limits.get(which) for which in WHICH}
        model.objects.create(age_class_id=age_class.pk, sex="" if sex == "both" else sex, **grams)


def write_traits(profile, traits, apps=installed):
    """Traits by their codes, with goal, leeway and described steps; traits that are not given leave the edition."""
    model, texts = apps.get_model("grading", "ProfileTrait"), apps.get_model("grading", "StepText")
    rows = model.objects.filter(profile_id=profile.pk)
    rows.exclude(trait__code__in=traits).delete()
    kept = {row.trait_id: row for row in rows}
    ids = dict(apps.get_model("grading", "Trait").objects.filter(code__in=traits).values_list("code", "pk"))
    described = {}
    for text in texts.objects.filter(trait__profile_id=profile.pk):
        described.setdefault(text.trait_id, {})[text.step] = text
    new_texts = []
    for code, given in traits.items():
        row = kept.get(ids[code]) or model(profile_id=profile.pk, trait_id=ids[code])
        _write_goals(row, given)
        new_texts += _steps_to_write(row, given.get("steps", {}), described.get(row.pk, {}), texts)
    texts.objects.bulk_create(new_texts)


def write_one_trait(profile, trait, given):
    """One trait of a draft; its other traits stay as they are."""
    row = profile.traits.filter(trait=trait).first() or profile.traits.model(profile=profile, trait=trait)
    _write_goals(row, given)
    texts = row.step_texts.model
    there = {text.step: text for text in row.step_texts.all()}
    texts.objects.bulk_create(_steps_to_write(row, given.get("steps", {}), there, texts))


def _write_goals(row, given):
    row.goal_low, row.goal_high = given.get("goal", (None, None))
    row.senior_low, row.senior_high = given.get("senior", (None, None))
    row.why = given.get("why", "")
    row.save()


def _steps_to_write(row, words, there, model):
    """The step texts that are new; those there are changed or taken out at once."""
    wanted = {int(step): text for step, text in words.items()}
    gone = [text.pk for step, text in there.items() if step not in wanted]
    if gone:
        model.objects.filter(pk__in=gone).delete()
    for step, text in there.items():
        if step in wanted and wanted[step] != text.words:
            text.words = wanted[step]
            text.save(update_fields=["words"])
    return [model(trait_id=row.pk, step=step, words=text) for step, text in wanted.items() if step not in there]


def write_findings(profile, findings, apps=installed):
    """What each finding means; findings that are not given are no longer asked for."""
    model = apps.get_model("grading", "ProfileFinding")
    rows = model.objects.filter(profile_id=profile.pk)
    rows.exclude(kind__code__in=findings).delete()
    kept = {row.kind_id: row for row in rows}
    ids = dict(apps.get_model("grading", "FindingKind").objects.filter(code__in=findings).values_list("code", "pk"))
    for code, given in findings.items():
        row = kept.get(ids[code]) or model(profile_id=profile.pk, kind_id=ids[code])
        row.effect, row.why = given["effect"], given.get("why", "")
        row.save()


def add_traits(traits, apps=installed):
    """Rows for traits that the registry does not have; what is there stays as the club has it."""
    model = apps.get_model("grading", "Trait")
    rows = []
    for position, (code, given) in enumerate(traits.items(), start=1):
        low, high = given.get("scale", (1, 9))
        rows.append(
            model(
                code=code,
                name=given["name"],
                question=given["question"],
                section=given["section"],
                position=given.get("position", position),
                scale_low=low,
                scale_high=high,
                low_words=given["ends"][0],
                high_words=given["ends"][1],
                two_sided=given.get("two_sided", False),
                sites=given.get("sites", []),
                photo_can_show=given.get("photo", True),
                summary=given.get("summary", ""),
            )
        )
    model.objects.bulk_create(rows, ignore_conflicts=True)


def add_finding_kinds(kinds, apps=installed):
    """Rows for findings that the registry does not have; what is there stays as the club has it."""
    model = apps.get_model("grading", "FindingKind")
    rows = [
        model(code=code, **{"position": position, **given}) for position, (code, given) in enumerate(kinds.items(), 1)
    ]
    model.objects.bulk_create(rows, ignore_conflicts=True)
