import pytest

from .cast import make_cast


@pytest.fixture
def cast(db):
    """Everybody and their rabbits, as tests/cast.py describes them."""
    return make_cast()
