"""The club's PostgreSQL: an embedded server kept by the site itself, or the club's own by DATABASE_URL.

`database_settings` only says where the database is and starts nothing; `attach` starts the embedded
server or joins the one that runs, and the last process to end stops it.
"""

from clubsite.embedded.address import database_settings
from clubsite.embedded.errors import SetupError, disk_sentence
from clubsite.embedded.folders import kept_secret_key, var_folder
from clubsite.embedded.holding import attach, release, revive_database

__all__ = [
    "SetupError",
    "attach",
    "database_settings",
    "disk_sentence",
    "kept_secret_key",
    "release",
    "revive_database",
    "var_folder",
]
