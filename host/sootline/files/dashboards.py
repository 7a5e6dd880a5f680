"""Where the pages' templates and styles lie: inside the installed package, or beside `host/` in a checkout."""

from pathlib import Path

from sootline.errors import UserError


def dashboards_folder() -> Path:
    """The folder with `templates/` and `static/`."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "dashboards", package.parent.parent / "dashboards"):
        if (folder / "templates").is_dir():
            return folder
    raise UserError("the folder 'dashboards' with the pages is missing; install sootline again")
