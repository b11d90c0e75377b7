#!/usr/bin/env python
"""The one entry point: ``python manage.py COMMAND``."""

from __future__ import annotations

import os
import sys

from kitting.management.plainly import run

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lotward.settings")
    run(sys.argv)
