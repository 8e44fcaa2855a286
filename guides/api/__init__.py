"""A series for other programs: read-only JSON, opened by a token, described by OpenAPI."""
