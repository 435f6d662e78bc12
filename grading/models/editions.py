"""What the database keeps of an edition: once published, or looked by, it stays as it is."""

import pgtrigger

from clubsite.constraints import sentence

sentence(
    "profile_published",
    "This edition is published, so it stays as it is: looks were graded by it. Make a new edition instead.",
)
sentence(
    "profile_in_use", "Looks were graded by this edition, so it cannot be withdrawn. Publish a new edition instead."
)
sentence("goal_on_scale", "The goal range must lie on the trait's scale.")
sentence("step_text_in_scale", "A described step must lie on the trait's scale.")
sentence(
    "trait_kept",
    "This trait is part of a published edition, so its scale and its places stay as they are. Make a new trait.",
)

REFUSE = "RAISE EXCEPTION '{name}' USING ERRCODE = 'check_violation', CONSTRAINT = '{name}';"
STANDS = """EXISTS (
        SELECT 1 FROM grading_breedprofile p WHERE p.id = {profile}
        AND (p.published_at IS NOT NULL OR EXISTS (SELECT 1 FROM grading_look l WHERE l.profile_id = p.id)))"""

OF_ITSELF = "{row}.profile_id"
OF_ITS_CLASS = "(SELECT c.profile_id FROM grading_ageclass c WHERE c.id = {row}.age_class_id)"
OF_ITS_TRAIT = "(SELECT t.profile_id FROM grading_profiletrait t WHERE t.id = {row}.trait_id)"


def kept_once_published(profile_of=OF_ITSELF):
    """The trigger of a table whose rows belong to an edition; `profile_of` finds the edition's id from {row}."""
    func = f"""
    IF TG_OP <> 'INSERT' AND {STANDS.format(profile=profile_of.format(row="OLD"))} THEN
        {REFUSE.format(name="profile_published")}
    END IF;
    IF TG_OP <> 'DELETE' AND {STANDS.format(profile=profile_of.format(row="NEW"))} THEN
        {REFUSE.format(name="profile_published")}
    END IF;
    IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
    RETURN NEW;
"""
    return pgtrigger.Trigger(
        name="kept_once_published",
        when=pgtrigger.Before,
        operation=pgtrigger.Insert | pgtrigger.Update | pgtrigger.Delete,
        func=func,
    )


ITS_OWN = (
    "breed_id", "association", "name", "edition", "official", "source", "points_total", "in_force_from", "previous_id",
)  # fmt: skip


def _row(which):
    return f"ROW({', '.join(f'{which}.{column}' for column in ITS_OWN)})"


EDITION_KEPT = f"""
    IF TG_OP = 'DELETE' THEN
        IF OLD.published_at IS NOT NULL THEN {REFUSE.format(name="profile_published")} END IF;
        RETURN OLD;
    END IF;
    IF {_row("NEW")} IS DISTINCT FROM {_row("OLD")} AND (OLD.published_at IS NOT NULL
            OR EXISTS (SELECT 1 FROM grading_look l WHERE l.profile_id = OLD.id)) THEN
        {REFUSE.format(name="profile_published")}
    END IF;
    IF OLD.published_at IS NOT NULL AND NEW.published_at IS DISTINCT FROM OLD.published_at THEN
        IF NEW.published_at IS NOT NULL THEN {REFUSE.format(name="profile_published")} END IF;
        IF EXISTS (SELECT 1 FROM grading_look l WHERE l.profile_id = OLD.id) THEN
            {REFUSE.format(name="profile_in_use")}
        END IF;
    END IF;
    RETURN NEW;
"""

GOAL_ON_SCALE = f"""
    IF EXISTS (SELECT 1 FROM grading_trait t WHERE t.id = NEW.trait_id
               AND (least(NEW.goal_low, NEW.senior_low) < t.scale_low
                    OR greatest(NEW.goal_high, NEW.senior_high) > t.scale_high)) THEN
        {REFUSE.format(name="goal_on_scale")}
    END IF;
    RETURN NEW;
"""

STEP_TEXT_IN_SCALE = f"""
    IF EXISTS (SELECT 1 FROM grading_profiletrait r JOIN grading_trait t ON t.id = r.trait_id
               WHERE r.id = NEW.trait_id AND NEW.step NOT BETWEEN t.scale_low AND t.scale_high) THEN
        {REFUSE.format(name="step_text_in_scale")}
    END IF;
    RETURN NEW;
"""

# Only what a step means: the club may name or ask differently.
TRAIT_KEPT = f"""
    IF ROW(NEW.code, NEW.scale_low, NEW.scale_high, NEW.two_sided, NEW.sites, NEW.summary)
       IS DISTINCT FROM ROW(OLD.code, OLD.scale_low, OLD.scale_high, OLD.two_sided, OLD.sites, OLD.summary)
       AND (EXISTS (SELECT 1 FROM grading_answer a WHERE a.trait_id = OLD.id)
            OR EXISTS (SELECT 1 FROM grading_profiletrait r JOIN grading_breedprofile p ON p.id = r.profile_id
                       WHERE r.trait_id = OLD.id AND p.published_at IS NOT NULL)) THEN
        {REFUSE.format(name="trait_kept")}
    END IF;
    RETURN NEW;
"""


def _on_saving(name, func):
    return pgtrigger.Trigger(name=name, when=pgtrigger.Before, operation=pgtrigger.Insert | pgtrigger.Update, func=func)


edition_kept = pgtrigger.Trigger(
    name="edition_kept",
    when=pgtrigger.Before,
    operation=pgtrigger.Update | pgtrigger.Delete,
    func=EDITION_KEPT,
)
goal_on_scale = _on_saving("goal_on_scale", GOAL_ON_SCALE)
step_text_in_scale = _on_saving("step_text_in_scale", STEP_TEXT_IN_SCALE)
trait_kept = pgtrigger.Trigger(name="trait_kept", when=pgtrigger.Before, operation=pgtrigger.Update, func=TRAIT_KEPT)
