"""manage.py outside its environment: what it refuses, and when it installs."""

import ast
import importlib.util
import json
import subprocess
import sys
from types import SimpleNamespace

import pytest

from .processes import PROJECT


@pytest.fixture
def door(tmp_path, monkeypatch):
    """A copy of manage.py's functions that works on an empty folder, with two requirements files."""
    spec = importlib.util.spec_from_file_location("argentry_manage", PROJECT / "manage.py")
    door = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(door)
    for name, value in {
        "HERE": tmp_path,
        "VENV": tmp_path / ".venv",
        "VENV_PYTHON": tmp_path / ".venv" / "bin" / "python",
        "STAMP": tmp_path / ".venv" / "argentry-stamp.json",
    }.items():
        monkeypatch.setattr(door, name, str(value))
    (tmp_path / "tests").mkdir()
    (tmp_path / "requirements.txt").write_text("one==1.0 \\\n    --hash=sha256:aa\n")
    (tmp_path / "tests" / "requirements.txt").write_text("one==1.0 \\\n    --hash=sha256:aa\ntwo==2.0\n")
    return door


@pytest.fixture
def environment(door):
    """An environment that was installed for `start`."""
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", door.VENV], check=True)
    with open(door.STAMP, "w") as file:
        json.dump({"requirements.txt": door.digest("requirements.txt")}, file)
    return door


def test_manage_py_can_be_read_by_a_python_of_2016():
    ast.parse((PROJECT / "manage.py").read_text(), feature_version=(3, 6))


def test_an_old_python_is_told_in_a_sentence(door, monkeypatch):
    monkeypatch.setattr(door.sys, "version_info", (3, 9, 2))
    with pytest.raises(door.Stop, match=r"needs Python 3\.11 or newer and this is Python 3\.9"):
        door.refuse_unfit_python()


def test_a_python_without_venv_is_told_what_to_install(door, monkeypatch):
    monkeypatch.setattr(door.shutil, "which", lambda _: None)
    monkeypatch.setitem(sys.modules, "ensurepip", None)
    with pytest.raises(door.Stop, match="apt install python3-venv"):
        door.make_environment()


def test_a_disk_too_small_for_the_packages_is_told_first(door, monkeypatch):
    monkeypatch.setattr(door.shutil, "disk_usage", lambda _: SimpleNamespace(free=100 * 2**20))
    with pytest.raises(door.Stop, match="has 100 MB free and the first start needs about"):
        door.prepare_environment("start")


@pytest.mark.slow
def test_an_environment_is_reused_until_its_requirements_change(environment, tmp_path):
    assert environment.is_ready("requirements.txt", "start")
    (tmp_path / "requirements.txt").write_text("one==1.1\n")
    assert not environment.is_ready("requirements.txt", "start")


@pytest.mark.slow
def test_what_start_installed_is_not_enough_for_the_tests(environment):
    assert not environment.is_ready(environment.TESTS, "test")


@pytest.mark.slow
def test_an_interrupted_installation_is_done_again(environment, monkeypatch):
    asked = []
    monkeypatch.setattr(environment, "installers", lambda: [[sys.executable, "-c", "raise SystemExit(1)"]])
    with pytest.raises(environment.Stop, match="Installing the packages failed"):
        environment.install(environment.TESTS)
    assert not environment.is_ready("requirements.txt", "start")  # half a new set is no old set

    monkeypatch.setattr(environment, "install", asked.append)
    environment.prepare_environment("start")
    assert asked == ["requirements.txt"]


@pytest.mark.slow
def test_a_second_installer_is_tried_and_the_test_requirements_serve_start_as_well(environment, monkeypatch):
    monkeypatch.setattr(
        environment, "installers", lambda: [[sys.executable, "-c", "raise SystemExit(1)"], [sys.executable, "-c", ""]]
    )
    environment.install(environment.TESTS)
    assert environment.is_ready(environment.TESTS, "test")
    assert environment.is_ready("requirements.txt", "start")


@pytest.mark.slow
def test_an_environment_whose_python_is_gone_is_made_anew(environment, monkeypatch, tmp_path):
    (tmp_path / ".venv" / "bin" / "python").unlink()
    made = []
    monkeypatch.setattr(environment, "make_environment", lambda: made.append("environment"))
    monkeypatch.setattr(environment, "install", made.append)
    environment.prepare_environment("start")
    assert made == ["environment", "requirements.txt"]


def test_the_test_requirements_hold_every_runtime_requirement_at_the_same_version():
    def pins(name):
        return {line.split(" ")[0] for line in (PROJECT / name).read_text().splitlines() if "==" in line}

    assert pins("requirements.txt") <= pins("tests/requirements.txt")
