"""What a production server imports: ``gunicorn lotward.wsgi``."""

from __future__ import annotations

import os

from django.core.exceptions import ImproperlyConfigured
from django.core.wsgi import get_wsgi_application

from kitting.ledger import serving

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lotward.settings")

application = get_wsgi_application()

if not serving.hold():
    raise ImproperlyConfigured(serving.RESTORING)
