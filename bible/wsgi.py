"""The WSGI entry point for a production server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "bible.settings")
application = get_wsgi_application()
