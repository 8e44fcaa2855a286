"""What a view may be asked by."""

from __future__ import annotations

from django.views.decorators.http import require_http_methods

forms_only = require_http_methods(["GET", "HEAD", "POST"])
