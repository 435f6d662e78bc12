"""What the columns of a sheet mean, guessed from their headers and, where these are silent, from the cells."""

import hashlib
import re

from .cells import is_unknown, key, plain, read_sex, text
from .days import looks_like_day

LEFT_OUT = ""
ANIMAL, LITTER = "animal", "litter"
FIELDS = {
    ANIMAL: {
        "mark": "left-ear mark",
        "right_mark": "right-ear mark",
        "ring": "ring",
        "registration": "registration number",
        "name": "name",
        "sex": "sex",
        "born": "birth date",
        "sire": "sire",
        "dam": "dam",
        "breeder": "breeder",
        "keeper": "herd or owner",
        "breed": "breed",
        "variety": "variety",
        "weight": "weight",
        "pounds": "weight, the pounds",
        "ounces": "weight, the ounces",
        "weighed": "day of the weight",
        "status": "where it is now",
        "notes": "notes",
    },
    LITTER: {
        "dam": "doe",
        "sire": "buck",
        "mated": "day of the mating",
        "kindled": "day of the kindling",
        "alive": "born alive",
        "dead": "born dead",
        "total": "born, alive and dead together",
        "keeper": "herd or owner",
        "notes": "notes",
    },
}
SEVERAL = {"sire", "dam", "notes"}  # fields that more than one column may fill
DAYS = {ANIMAL: ("born", "weighed"), LITTER: ("mated", "kindled")}

# Common practice, no source: what people write above the columns, as `plain` leaves it. English, German, a few others.
WORDS = {
    ANIMAL: {
        "mark": "ear|ear no|ear nr|ear num|ear number|ear mark|earmark|ear id|ear code|left ear|left|left ear no|l ear|"
        "left ear mark|left ear tattoo|le|tattoo|tattoo no|tattoo number|tattoo nr|tat|tatoo|mark|marks|id|no|nr|num|"
        "number|nummer|animal no|animal id|rabbit no|rabbit id|rabbit number|ohr|ohrnummer|ohr nr|ohrnr|ohr nummer|"
        "linkes ohr|links|lo|l o|tato|tatowierung|tatowier nr|tatowiernummer|tato nr|kennzeichen|kenn nr|tier nr|"
        "tiernummer|oornummer|tatouage|no tatouage|identification|ident",
        "right_mark": "right ear|right|right ear no|right ear mark|right ear tattoo|r ear|re|rechtes ohr|rechts|ro|r o",
        "ring": "ring|ring no|ring number|ring nr|ringnummer|leg ring|ringnr",
        "registration": "reg|reg no|reg nr|reg number|regn|regn no|registration|registration no|registration nr|"
        "registration number|registered no|register nr|register no|registernummer|registernr|register|herd book no|"
        "herdbook no|herd book|stud book no|zuchtbuch|zuchtbuch nr|zuchtbuchnummer|zb nr|zbnr|stammbuch nr|"
        "registriernummer|numero d enregistrement",
        "name": "name|names|called|call name|rabbit|rabbit name|animal|animal name|name of rabbit|tier|tiername|rufname|"
        "bezeichnung|nom|naam|rabbit s name",
        "sex": "sex|gender|b d|d b|buck doe|buck or doe|doe buck|m f|f m|m w|w m|geschlecht|geschl|g|sexe|geslacht|"
        "1 0 0 1|r h|1 0|0 1",
        "born": "born|born on|dob|d o b|date of birth|birth|birth date|birthdate|birthday|date born|day of birth|birth day|"
        "kindled|date kindled|kindling date|geboren|geboren am|geb|geb am|geb datum|gebdatum|geburt|geburtsdatum|"
        "geburtstag|wurftag|wurfdatum|geworfen|wurf|ne le|date de naissance|naissance|geboortedatum|birthed|"
        "litter date",
        "sire": "sire|sires|father|father s name|sire name|sire no|sire nr|sire ear|sire ear no|sire mark|sire tattoo|"
        "sire id|sire reg|sire reg no|sire s name|sire ear number|father no|father id|father name|vater|vatertier|"
        "vater nr|vater name|pere|vader|parents father|parents sire|by|name of sire|eltern vater|v|buck",
        "dam": "dam|dams|mother|mother s name|dam name|dam no|dam nr|dam ear|dam ear no|dam mark|dam tattoo|dam id|dam reg|"
        "dam reg no|dam s name|dam ear number|mother no|mother id|mother name|mutter|muttertier|mutter nr|mutter name|"
        "mere|moeder|parents mother|parents dam|out of|ex|name of dam|eltern mutter|doe",
        "breeder": "breeder|bred by|breeder name|name of breeder|zuchter|zuechter|zuchter name|fokker|eleveur|stud|"
        "zuchtername|breeders|origin breeder",
        "keeper": "owner|keeper|herd|kept by|owned by|besitzer|halter|eigentumer|eigner|eigenaar|proprietaire|stable",
        "breed": "breed|rasse|race|ras",
        "variety": "variety|colour|color|coat colour|coat color|farbe|farbenschlag|farbschlag|couleur|kleur",
        "weight": "weight|wt|weights|adult weight|weight adult|weight kg|weight lb|weight lbs|weight g|weight oz|"
        "weight lb oz|weight lbs oz|kg|lb|lbs|grams|gewicht|gewicht kg|gewicht in kg|gewicht g|gewicht in g|gew|poids|"
        "mass|body weight|live weight|weight kg adult|senior weight",
        "pounds": "pounds|weight pounds|wt lb|weight lb part",
        "ounces": "oz|ounces|weight ounces|wt oz",
        "weighed": "weighed|weighed on|date weighed|weigh date|weight date|date of weight|day weighed|day of the weight|"
        "gewogen|gewogen am|wiegetag|wiegedatum|date of weighing|wt date",
        "status": "status|where|where it is|where now|whereabouts|fate|outcome|verbleib|abgang|state|disposal|"
        "where it is now",
        "notes": "notes|note|remarks|remark|comments|comment|bemerkung|bemerkungen|anmerkung|anmerkungen|notiz|notizen|"
        "memo|info|kommentar|opmerkingen|remarques|sonstiges|other|misc",
    },
    LITTER: {
        "dam": "doe|dam|mother|doe no|dam no|doe ear no|doe name|dam name|doe id|doe mark|hasin|haesin|zibbe|mutter|mere|"
        "moeder|voedster|muttertier",
        "sire": "buck|sire|father|buck no|sire no|buck ear no|buck name|sire name|buck id|buck mark|rammler|bock|vater|pere|"
        "vader|put to|mated to|bred to|served by|rammelaar|gedeckt von",
        "mated": "mated|mated on|date mated|mating|mating date|bred|bred on|date bred|breeding date|served|served on|covered|"
        "day of the mating|gedeckt|gedeckt am|deckdatum|decktag|belegt|belegt am|paarung|saillie|gedekt|put to buck",
        "kindled": "kindled|kindled on|date kindled|kindling|kindling date|born|born on|date born|date of birth|dob|d o b|"
        "birth date|litter date|day of the kindling|geworfen|geworfen am|wurfdatum|wurftag|wurf|geboren|geboren am|"
        "mise bas|geworpen",
        "alive": "alive|born alive|live|live born|kits alive|living|no alive|lebend|lebend geboren|lebende|vivants|"
        "number alive|levend",
        "dead": "dead|born dead|stillborn|still born|kits dead|no dead|tot|tot geboren|totgeboren|tote|morts|number dead|"
        "dood|doa",
        "total": "total|total born|born total|kits|kits born|number born|no born|litter size|size|no of kits|number of kits|"
        "wurfgrosse|wurfstarke|anzahl|gesamt|born alive and dead together",
        "keeper": "owner|keeper|herd|besitzer|halter|breeder|zuchter",
        "notes": "notes|note|remarks|remark|comments|comment|bemerkung|bemerkungen|anmerkung|notiz|memo|info",
    },
}
LOOKUP = {
    kind: {word: field for field, words in fields.items() for word in words.split("|")}
    for kind, fields in WORDS.items()
}
# Single words that tell, where the whole header is not in the list above.
TELLING = {
    ANIMAL: (
        (r"sire|father|vater", "sire"),
        (r"dam|mother|mutter", "dam"),
        (r"right", "right_mark"),
        (r"ring|ringnummer", "ring"),
        (r"reg|registration|registered|register|registernummer|zuchtbuch\w*", "registration"),
        (r"ear|tattoo|ohr\w*|tatowier\w*|earmark", "mark"),
        (r"weighed|gewogen", "weighed"),
        (r"born|birth|dob|geb|geboren|geburts\w*", "born"),
        (r"weight|gewicht|wt|poids", "weight"),
        (r"sex|gender|geschlecht", "sex"),
        (r"breeder|zuchter", "breeder"),
        (r"owner|keeper|besitzer|halter", "keeper"),
        (r"breed|rasse", "breed"),
        (r"variety|colour|color|farbe|farbenschlag", "variety"),
        (r"notes?|remarks?|comments?|bemerkung\w*|anmerkung\w*", "notes"),
        (r"name|called", "name"),
    ),
    LITTER: (
        (r"alive|live|lebend\w*", "alive"),
        (r"dead|stillborn|tot\w*", "dead"),
        (r"mated|mating|bred|served|gedeckt|deck\w*|belegt", "mated"),
        (r"kindled|kindling|wurf\w*|geworfen|birth|born", "kindled"),
        (r"doe|dam|hasin|zibbe|mutter", "dam"),
        (r"buck|sire|rammler|vater", "sire"),
        (r"total|kits", "total"),
        (r"notes?|remarks?|bemerkung\w*", "notes"),
    ),
}
# A parent's birth, weight or own parents are no parent.
OF_A_PARENT = re.compile(
    r"\b(grand\w*|gross\w*|great|sires|dams|sire s|dam s|ss|sd|ds|dd|s s|s d|d s|d d|urgross\w*|"
    r"(?:sire|dam|father|mother|vater|mutter)\b.*\b(?:sire|dam|father|mother|vater|mutter|born|birth|dob|weight|wt|kg|"
    r"lbs?|colou?r|variety|breeder|geb\w*|gewicht|farbe|title|legs|zuchter))\b"
)


def field_of(header, kind):
    """The field that a header names, or ''."""
    said = plain(header)
    if not said:
        return LEFT_OUT
    lookup = LOOKUP[kind]
    for words in (said, re.sub(r"\b(kg|lbs?|oz|g|gr|gram|grams|in|the|of|am|nr|no)\b", "", said)):
        words = " ".join(words.split())
        if words in lookup:
            return lookup[words]
    if kind == ANIMAL and OF_A_PARENT.search(said):
        return LEFT_OUT
    for pattern, field in TELLING[kind]:
        if re.search(rf"\b(?:{pattern})\b", said):
            return field
    return LEFT_OUT


def fields_of(headers, kind):
    """A field for every header; a second column for a field that takes only one is left out."""
    taken, fields = set(), []
    for header in headers:
        field = field_of(header, kind)
        if field in taken and field not in SEVERAL:
            field = LEFT_OUT
        taken.add(field)
        fields.append(field)
    if kind == ANIMAL and {"ounces", "weight"} <= taken and "pounds" not in taken:
        weight = fields.index("weight")
        if re.search(r"\b(lbs?|pounds?)\b", plain(headers[weight])):
            fields[weight] = "pounds"
    if kind == ANIMAL and "mark" not in taken and "right_mark" in taken and "registration" not in taken:
        pass
    return fields


def kind_of(headers):
    """'litter' for a list of kindlings, 'animal' for a list of animals, '' when the headers tell neither."""
    litter, animal = set(fields_of(headers, LITTER)), set(fields_of(headers, ANIMAL))
    counts = litter & {"alive", "dead", "total"}
    days = litter & {"mated", "kindled"}
    own = animal & {"mark", "name", "registration", "sex", "right_mark", "ring"}
    if "dam" in litter and (days and (counts or "mated" in days)) and not own:
        return LITTER
    return ANIMAL if animal - {LEFT_OUT} else ""


def guess(headers, rows):
    """(kind, field of each column): by the headers, and by the cells for columns whose header says nothing."""
    kind = kind_of(headers) or ANIMAL
    fields = fields_of(headers, kind)
    if kind == ANIMAL:
        _from_cells(headers, rows, fields)
    return kind, fields


def _from_cells(headers, rows, fields):
    """Fill in what the cells tell: days, sexes, marks, names, and parents that are found among marks or names."""
    sample = rows[:400]
    columns = [[row[at] for row in sample if at < len(row) and row[at] is not None] for at in range(len(fields))]
    silent = [at for at, field in enumerate(fields) if field == LEFT_OUT and columns[at] and not plain(headers[at])]

    def take(field, test, share):
        if field in fields and field not in ("sire", "dam"):
            return
        for at in silent:
            if fields[at] == LEFT_OUT and sum(map(test, columns[at])) >= share * len(columns[at]):
                fields[at] = field
                return

    take("born", looks_like_day, 0.7)
    take("sex", lambda cell: read_sex(cell) in ("buck", "doe"), 0.8)
    take("weight", _tells_weight, 0.7)
    marked = [at for at in silent if fields[at] == LEFT_OUT and _distinct(columns[at]) and _marks(columns[at])]
    if "mark" not in fields and marked:
        fields[marked[0]] = "mark"
    named = [at for at in silent if fields[at] == LEFT_OUT and _distinct(columns[at]) and not _marks(columns[at])]
    if "name" not in fields and named and "mark" in fields:
        fields[named[0]] = "name"
    _parents_from_cells(columns, fields, silent)


def _parents_from_cells(columns, fields, silent):
    if "sire" in fields or "dam" in fields:
        return
    known = {
        key(text(cell))
        for at, field in enumerate(fields)
        if field in ("mark", "name", "registration")
        for cell in columns[at]
    }
    among = []
    for at in silent:
        cells = [cell for cell in columns[at] if not is_unknown(cell)]
        if fields[at] == LEFT_OUT and cells and sum(key(text(cell)) in known for cell in cells) >= 0.5 * len(cells):
            among.append(at)
    if len(among) == 2:  # the sire stands before the dam (common practice, no source)
        fields[among[0]], fields[among[1]] = "sire", "dam"


def _tells_weight(cell):
    return isinstance(cell, str) and bool(re.search(r"\d\s*(?:lbs?|kg|oz|g)\b", cell.casefold()))


def _distinct(cells):
    return len(cells) > 1 and len({text(cell) for cell in cells}) >= 0.9 * len(cells)


def _marks(cells):
    short = [cell for cell in cells if re.fullmatch(r"[A-Za-z]{0,5}[ -]?\d{1,6}[A-Za-z]{0,2}", text(cell))]
    return len(short) >= 0.8 * len(cells)


def unit_in(header):
    """'kg', 'g', 'lb' or 'lb_oz' when a header names the unit of its weights, else ''."""
    said = set(plain(header).split())
    if said & {"kg", "kgs", "kilo", "kilos", "kilogram", "kilograms"}:
        return "kg"
    if said & {"lb", "lbs", "pound", "pounds"}:
        return "lb_oz" if said & {"oz", "ozs", "ounces"} else "lb"
    if said & {"g", "gr", "gram", "grams", "gramm"}:
        return "g"
    return ""


def headers_digest(headers):
    """What two sheets with the same headers have in common, in 64 letters."""
    return hashlib.sha256("\x1f".join(plain(header) for header in headers).encode()).hexdigest()
