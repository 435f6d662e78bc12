"""What a cell says: plain text, an unknown word, a sex, a place, a count."""

import re
import unicodedata
from datetime import date, datetime
from functools import lru_cache

UNKNOWN = {
    "", "?", "??", "???", "-", "--", "---", ".", "..", "...", "/", "//", "x", "xx", "xxx", "*", "0", "_", "n",
    "unk", "unkn", "unknown", "unknwn", "not known", "notknown", "nk", "n/k", "na", "n/a", "none", "nil", "null", "no",
    "not recorded", "not given", "not stated", "no record", "dont know", "don't know", "tba", "tbc", "breeder unknown",
    "unbekannt", "unbek", "unb", "k a", "k.a", "ka", "keine angabe", "kein", "keine", "nicht bekannt", "ohne",
    "inconnu", "inconnue", "onbekend", "sconosciuto", "desconocido",
}  # fmt: skip
BUCK = {
    "buck", "bucks", "b", "m", "male", "he", "1,0", "1.0", "1/0", "1-0", "1:0", "10", "1", "♂", "♂️", "buck rabbit",
    "rammler", "r", "bock", "männlich", "mannlich", "maennlich", "mann", "mâle", "male rabbit", "rammelaar", "ram",
    "buck junior", "buck senior", "1.0.0", "1,0,0", "maschio", "macho", "boy",
}  # fmt: skip
DOE = {
    "doe", "does", "d", "f", "female", "she", "0,1", "0.1", "0/1", "0-1", "0:1", "01", "♀", "♀️", "w", "doe rabbit",
    "häsin", "hasin", "haesin", "h", "zibbe", "z", "weiblich", "weib", "femelle", "voedster", "v", "0.1.0", "0,1,0",
    "femmina", "hembra", "girl",
}  # fmt: skip
SEX_UNKNOWN = {"u", "unsexed", "sex unknown", "0,0,1", "0.0.1", "0/0/1", "unbestimmt", "not sexed", "?"}

PLACES = (
    ("put_down", ("put down", "euthan", "eingeschläfert", "pts")),
    ("table", ("table", "butcher", "cull", "geschlachtet", "schlacht", "freezer", "meat")),
    ("died", ("died", "dead", "death", "deceased", "rip", "gestorben", "verendet", "tot", "†")),
    ("on_loan", ("loan", "lent", "leih", "ausgeliehen")),
    ("moved_on", ("sold", "moved", "gone to", "given", "verkauft", "abgegeben", "another home", "rehomed", "exported")),
    ("outside", ("outside", "ausserhalb", "außerhalb")),
    ("not_traced", ("not traced", "untraced", "lost", "unknown")),
    ("here", ("here", "in the herd", "present", "kept", "alive", "active", "vorhanden", "bestand", "yes", "home")),
)

# The registry's own words, as it writes them into its sheets; a test holds them against the model's.
OWN_PLACES = {
    "in the herd": "here",
    "on loan": "on_loan",
    "moved to another home": "moved_on",
    "died": "died",
    "put down on a vet's advice": "put_down",
    "went to the table": "table",
    "outside the club": "outside",
    "not traced": "not_traced",
}


def text(cell):
    """A cell as words on one line: whole numbers without decimals, days as year-month-day, '' for an empty one.

    An apostrophe that a table program put before what looks like a formula is taken off again; nothing is evaluated.
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ", timespec="minutes")
    if isinstance(cell, date):
        return cell.isoformat()
    words = " ".join(str(cell).split())
    if len(words) > 1 and words[0] == "'" and words[1] in "=+-@":
        return words[1:]
    return words


@lru_cache(maxsize=50_000)
def plain(words):
    """Letters without case and accents, everything else as single spaces: what two spellings have in common."""
    folded = unicodedata.normalize("NFKD", words.casefold().replace("ß", "ss"))
    letters = "".join(each for each in folded if not unicodedata.combining(each))
    return " ".join(re.sub(r"[^a-z0-9♂♀]+", " ", letters).split())


@lru_cache(maxsize=200_000)
def key(words):
    """The key under which the registry knows a mark or a name: capitals without spaces and hyphens."""
    return "".join(words.split()).replace("-", "").upper()


def is_unknown(cell):
    """True for an empty cell and for the many ways to say that something is not known."""
    said = text(cell).casefold().strip(" .,;:()[]\"'")
    return said in UNKNOWN or bool(re.fullmatch(r"[?\-–—_./*x\s]+", said))


def read_sex(cell):
    """'buck', 'doe', 'unknown' for an empty or open cell, None for a word that is not understood."""
    if isinstance(cell, float) and not isinstance(cell, bool):
        return {1.0: "buck", 0.1: "doe"}.get(cell)
    said = re.sub(r"\s*([,./:-])\s*", r"\1", text(cell).casefold()).strip(" .()\"'")
    if said in BUCK:
        return "buck"
    if said in DOE:
        return "doe"
    if said in SEX_UNKNOWN or is_unknown(cell):
        return "unknown"
    return None


def read_place(cell):
    """The status that a cell tells of, by its words; None when it tells none."""
    said = text(cell).casefold()
    if said in OWN_PLACES:
        return OWN_PLACES[said]
    return next((status for status, words in PLACES if any(word in said for word in words)), None)


def read_count(cell):
    """A whole number of kits, 0 for an empty cell; None when the cell is no such number."""
    said = text(cell).strip(" .")
    if not said or is_unknown(said):
        return 0
    return int(said) if re.fullmatch(r"\d{1,3}", said) else None
