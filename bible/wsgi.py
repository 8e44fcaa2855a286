"""The WSGI entry point for a production server."""

import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "bible.settings")
application = get_wsgi_application()

YOUNG = 20_000
"""Objects made between two collections (Python's own: 700). A large page makes some 100,000, nearly all of them gone
with it: looked at less often, fewer live long enough to be looked at again."""


def warm_up() -> None:
    """Load what the first requests would wait for, then let the garbage collector pass it over for good.

    Addresses, forms, colour science and parsed templates are some 170,000 objects that never go; looking through
    them took 150 ms, every twentieth page or so.
    """
    from django.template.loader import get_template
    from django.urls import reverse

    from bible.colour.science import colour_science
    from bible.settings import BASE_DIR

    colour_science()

    reverse("home")
    folder = BASE_DIR / "templates"
    for template in sorted(folder.rglob("*.html")):
        get_template(str(template.relative_to(folder)))
    gc.collect()
    gc.freeze()
    gc.set_threshold(YOUNG)


warm_up()
