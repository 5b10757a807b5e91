#!/usr/bin/env python3
"""Run a command of the refit program: `python manage.py help` lists them."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "refit.settings")
    # The demo boat lives in a folder of its own, chosen before the settings read it.
    if len(sys.argv) > 1 and sys.argv[1] == "demo" and not os.environ.get("DATABASE_URL"):
        os.environ.setdefault("REFIT_DATA", os.path.join("data", "demo"))
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
