#!/usr/bin/env python
"""Commands of the application; `manage.py help` lists them."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    from config.environment import of_command_line

    # What the environment says goes first, but for the demo: that is asked for here.
    told = of_command_line(sys.argv)
    os.environ.update({name: value for name, value in told.items() if name == "DEMO" or not os.environ.get(name)})
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
