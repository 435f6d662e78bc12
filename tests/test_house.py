"""The house keeps its shape: which way imports run, how long a file may be, what the two documents name."""

import ast
import re
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parent.parent
ROOMS = ("clubsite/members", "herds", "pedigrees", "grading")  # ground floor first
PURE = ("pedigrees/kinship", "grading/measurement", "grading/evaluation", "grading/agreement")
SOURCES = [p for folder in ("clubsite", *ROOMS[1:], "fixtures", "tests") for p in (TOP / folder).rglob("*.py")]


def imports_of(path):
    """Dotted names that a file imports, those inside functions too."""
    package = ".".join(path.relative_to(TOP).with_suffix("").parts[:-1])
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            up = package.split(".")[: len(package.split(".")) - node.level + 1] if node.level else []
            yield ".".join([*up, node.module or ""]).strip(".")


def within(name, room):
    dotted = room.replace("/", ".")
    return name == dotted or name.startswith(dotted + ".")


@pytest.mark.parametrize("room", ROOMS)
def test_no_import_runs_back_up_the_house(room):
    above = ROOMS[ROOMS.index(room) + 1 :]
    wrong = [
        f"{path.relative_to(TOP)} imports {name}"
        for path in (TOP / room).rglob("*.py")
        for name in imports_of(path)
        for other in above
        if within(name, other)
    ]
    assert wrong == []


@pytest.mark.parametrize("room", [room for room in PURE if (TOP / room).is_dir()])
def test_the_packages_of_numbers_know_no_django(room):
    wrong = [
        f"{path.relative_to(TOP)} imports {name}"
        for path in (TOP / room).rglob("*.py")
        for name in imports_of(path)
        if name.split(".")[0] in ("django", "clubsite", "herds") or name.endswith(".models")
    ]
    assert wrong == []


def test_a_python_file_over_500_lines_is_a_room_to_divide():
    ours = [path for path in SOURCES if "migrations" not in path.parts]
    assert [str(p.relative_to(TOP)) for p in ours if len(p.read_text().splitlines()) > 500] == []


def settings_named_in_code():
    places = [*SOURCES, TOP / "manage.py"]
    found = {name for path in places for name in re.findall(r"\bARGENTRY_[A-Z_]+\b", path.read_text())}
    return sorted(found)


@pytest.mark.parametrize("name", settings_named_in_code())
def test_every_setting_is_explained_for_whoever_runs_the_site(name):
    assert name in (TOP / "DEVELOPERS.md").read_text()


def commands():
    found = [*TOP.glob("*/management/commands/*.py"), *TOP.glob("clubsite/*/management/commands/*.py")]
    return sorted(path.stem for path in found if not path.stem.startswith("_"))


@pytest.mark.parametrize("name", commands())
def test_every_command_is_explained(name):
    assert f"`{name}" in (TOP / "DEVELOPERS.md").read_text()


def test_the_readme_opens_with_the_job_and_the_two_commands():
    lines = (TOP / "README.md").read_text().split("\n\n")
    assert lines[0].startswith("# Argentry")
    assert "\n" not in lines[1].strip()  # the job, one paragraph
    assert "python3 manage.py start" in lines[2] + lines[3]
    assert "python3 manage.py test" in lines[2] + lines[3] + lines[4]


def test_front_end_files_of_others_are_kept_with_version_and_checksum():
    import hashlib

    vendor = TOP / "static" / "vendor"
    listed = "\n".join(p.read_text() for p in vendor.glob("VENDORED*"))
    for path in vendor.rglob("*"):
        if path.is_file() and not path.name.startswith("VENDORED") and "LICEN" not in path.name.upper():
            assert hashlib.sha256(path.read_bytes()).hexdigest() in listed, path.name
