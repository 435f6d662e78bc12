"""Writes an edition's document as TOML 1.0, in the layout of the shipped files. Read again it is the same document."""

from datetime import date

BARE = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")
ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t", "\b": "\\b", "\f": "\\f"}
DELETE = 0x7F
SURROGATES = range(0xD800, 0xE000)


def written(document, comment=""):
    """The TOML text of a document: tables, tables in lists, and tables of tables, one level each."""
    blocks = ["\n".join(f"# {line}".rstrip() for line in comment.splitlines())] if comment else []
    for name, value in document.items():
        if isinstance(value, list):
            blocks += [f"[[{key(name)}]]\n{_lines(each)}" for each in value]
        elif value and all(isinstance(each, dict) for each in value.values()):
            blocks += [f"[{key(name)}.{key(code)}]\n{_lines(each)}" for code, each in value.items()]
        else:
            blocks.append(f"[{key(name)}]\n{_lines(value)}")
    return "\n".join(block.rstrip("\n") + "\n" for block in blocks)


def key(text):
    """A key, in quotation marks where TOML needs them."""
    return text if text and set(text) <= BARE else string(text)


def string(text):
    """A basic string. ValueError for half a surrogate pair, which no file can hold."""
    return f'"{"".join(map(_escaped, text))}"'


def _escaped(letter):
    code = ord(letter)
    if code in SURROGATES:
        raise ValueError("Half a surrogate pair cannot be written.")
    if letter in ESCAPES:
        return ESCAPES[letter]
    return f"\\u{code:04X}" if code < ord(" ") or code == DELETE else letter


def value(given):
    """A value on one line. TypeError for what an edition does not hold."""
    if isinstance(given, bool):
        return "true" if given else "false"
    if isinstance(given, str):
        return string(given)
    if isinstance(given, (int, float)):
        return repr(given)
    if isinstance(given, date):
        return given.isoformat()
    if isinstance(given, list):
        return _long_list(given) if given and isinstance(given[0], dict) else f"[{', '.join(map(value, given))}]"
    if isinstance(given, dict):
        return f"{{ {', '.join(f'{key(k)} = {value(v)}' for k, v in given.items())} }}" if given else "{}"
    raise TypeError(f"{type(given).__name__} has no place in an edition's file.")


def _long_list(tables):
    return "[\n" + "".join(f"    {value(each)},\n" for each in tables) + "]"


def _lines(table):
    return "".join(f"{key(name)} = {value(each)}\n" for name, each in table.items())
