"""What grading adds to the animal's and the herd's pages."""


def register():
    """Called once when the app is ready."""
    from . import (
        panel_compare,
        panel_kits,
        panel_looks,
        panel_merits,
        panel_pedigree,
        panel_photos,
        panel_reviews,
        review_people,
        review_tasks,
        season_tasks,
        takeout,
    )

    panel_looks.register()
    panel_merits.register()
    panel_photos.register()
    panel_compare.register()
    panel_pedigree.register()
    panel_kits.register_parts()
    panel_reviews.register()
    review_tasks.register_all()
    season_tasks.register_all()
    review_people.register_all()
    takeout.register_parts()
