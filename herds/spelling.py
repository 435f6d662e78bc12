"""What two spellings of one text have in common, and the spellings that lie one slip of the finger apart.

`plain` and `words` say in Python what the database functions herds_plain and herds_words say of a column; a test holds
them together.
"""

import re
import unicodedata

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
SIGNS = re.compile(r"[\s\u00a0'\"’`´.,:;/_()-]+")
ACCENTS = re.compile("[\u0300-\u036f]")
TURNED = str.maketrans("øØłŁđĐı", "oOlLdDi") | str.maketrans({"ß": "ss", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE"})


def _capitals(text):
    return ACCENTS.sub("", unicodedata.normalize("NFKD", text)).translate(TURNED).upper()


def plain(text):
    """Capitals without accents, spaces and signs: 'Fern Lañe', 'fern-lane' and 'FERNLANE' are the same."""
    return SIGNS.sub("", _capitals(text))


def words(text):
    """The single words of a text, each as `plain` has it."""
    return SIGNS.sub(" ", _capitals(text)).split()


def one_slip(text):
    """Every text that one letter left out, put in, mistaken or two changed over makes of this one (plain) text."""
    cuts = [(text[:at], text[at:]) for at in range(len(text) + 1)]
    left_out = {head + tail[1:] for head, tail in cuts if tail}
    put_in = {head + letter + tail for head, tail in cuts for letter in LETTERS}
    mistaken = {head + letter + tail[1:] for head, tail in cuts if tail for letter in LETTERS}
    changed_over = {head + tail[1] + tail[0] + tail[2:] for head, tail in cuts if len(tail) > 1}
    return (left_out | put_in | mistaken | changed_over) - {text}
