"""What a view may be asked by."""

from __future__ import annotations

from django.views.decorators.http import require_http_methods

SAFE = ("GET", "HEAD")
POST = ("POST",)
FORM = (*SAFE, *POST)
"""A form and what it sends, at one address."""

forms_only = require_http_methods(FORM)
reads_only = require_http_methods(SAFE)
posts_only = require_http_methods(POST)
