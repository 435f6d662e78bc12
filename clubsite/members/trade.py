"""What the trade says beside each of the club's settings: shown by the field, so that nobody guesses."""

MANUAL = "a veterinary manual, grade A"
BREEDERS = "breeders' pages, grade C"
PRACTICE = "common practice, no source, grade P"
MEMORY = "from memory, grade M"
OURS = "Argentry's own caution, no source"

# How far a source can be trusted, for the head of the page.
GRADES = (
    ("A", "peer-reviewed, or a veterinary manual"),
    ("C", "breeders' pages"),
    ("P", "common practice, no source"),
    ("M", "from memory"),
)

# field: (the trade's words, where they come from)
TRADE = {
    "palpation_days": ("day 12 after mating, 10 to 14 is usual", MANUAL),
    "nest_box_days": ("day 28 or 29", MANUAL),
    "due_days": ("day 31; 31 to 33 is usual", MANUAL),
    "overdue_days": ("no litter by day 32: call a vet", MANUAL),
    "earliest_kindling_days": ("28", BREEDERS),
    "latest_kindling_days": ("35; kits born after day 34 are almost always dead", MANUAL),
    "first_check_days": ("within 24 hours", BREEDERS),
    "nest_box_out_days": ("about 3 weeks, 21 days", BREEDERS),
    "weigh_days": ("at 3, 5, 8 and 10 weeks: 21, 35, 56, 70", BREEDERS),
    "wean_from_days": ("6 weeks, 42", BREEDERS),
    "wean_to_days": ("8 weeks, 56", BREEDERS),
    "rebreed_from_days": ("35", BREEDERS),
    "rebreed_to_days": ("42", BREEDERS),
    "quarantine_days": ("30", BREEDERS),
    "fostering_days": ("within 3 days of birth", MEMORY),
    "breeding_age_days": ("3.5 months for small breeds, 4 for medium, 6 to 9 for giant ones", MANUAL),
    "close_mating_percent": ("12 takes in half brother and sister, whose kits have 12.5", PRACTICE),
    "smallest_group_animals": ("5", OURS),
    "smallest_group_herds": ("3", OURS),
    "ranking_progeny": ("5", OURS),
    "ranking_dams": ("2", OURS),
    "grant_days": ("90", PRACTICE),
    "invitation_days": ("14", PRACTICE),
    "calibration_days": ("365", PRACTICE),
    "calibration_reminder_days": ("3", PRACTICE),
    "handing_on_days": ("14", PRACTICE),
}

# Each setting's name on the page, with what it is counted in.
LABELS = {
    "palpation_days": "Palpate, days after mating",
    "nest_box_days": "Nest box in, days after mating",
    "due_days": "Kindling is due, days after mating",
    "overdue_days": "No litter: call a vet, days after mating",
    "earliest_kindling_days": "Earliest live litter, days after mating",
    "latest_kindling_days": "Latest live litter, days after mating",
    "first_check_days": "First nest check within, days after kindling",
    "fostering_days": "Foster within, days after kindling",
    "nest_box_out_days": "Nest box out, days of age",
    "weigh_days": "Weigh, days of age",
    "wean_from_days": "Wean from, days of age",
    "wean_to_days": "Wean by, days of age",
    "rebreed_from_days": "Mate again from, days after kindling",
    "rebreed_to_days": "Mate again by, days after kindling",
    "breeding_age_days": "Youngest at mating, days of age",
    "quarantine_days": "Quarantine lasts, days",
    "close_mating_percent": "Close mating: warn from, percent of inbreeding expected",
    "smallest_group_animals": "Smallest group shown, animals",
    "smallest_group_herds": "Smallest group shown, herds",
    "ranking_progeny": "Before a sire is ranked, progeny",
    "ranking_dams": "Before a sire is ranked, dams",
    "invitation_days": "An invitation lasts, days",
    "grant_days": "A mentor grant lasts, days",
    "calibration_days": "A calibration result counts, days",
    "calibration_reminder_days": "Before a calibration closes graders are reminded, days",
    "handing_on_days": "An unanswered review request is handed on after, days",
}

GROUPS = (
    (
        "From mating to kindling",
        "Counted from the day of mating.",
        (
            "palpation_days",
            "nest_box_days",
            "due_days",
            "overdue_days",
            "earliest_kindling_days",
            "latest_kindling_days",
        ),
    ),
    (
        "Litters and weaning",
        "Counted from the day of kindling.",
        (
            "first_check_days",
            "fostering_days",
            "nest_box_out_days",
            "weigh_days",
            "wean_from_days",
            "wean_to_days",
            "rebreed_from_days",
            "rebreed_to_days",
        ),
    ),
    ("Young and new stock", "", ("breeding_age_days", "quarantine_days")),
    ("Planning matings", "", ("close_mating_percent",)),
    (
        "What is shown breed-wide",
        "Smaller groups are held back: a few animals say little, and they would point at one herd.",
        ("smallest_group_animals", "smallest_group_herds", "ranking_progeny", "ranking_dams"),
    ),
    (
        "People",
        "",
        ("invitation_days", "grant_days", "calibration_days", "calibration_reminder_days", "handing_on_days"),
    ),
)
