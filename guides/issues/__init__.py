"""The issues of a series, and what comes first on somebody's day."""
