"""What the bible tells whoever keeps marks, inside the transaction that changes it.

The bible knows nothing of page guides; they listen. Receivers run at once and in the same transaction, so that a
change and the expectations that follow from it are seen together or not at all. Each signal may carry ``by`` (the
person, or None) and ``why`` (the deed in words), for whoever keeps a record of what it touched.
"""

from django.dispatch import Signal

expectation_changed = Signal()
"""Locks or a costume's time changed. Arguments: ``series``, ``part_ids`` (list of primary keys); of a decision about
locks ``at`` (its moment), and where it undoes one ``undone`` (the moment of that)."""

issue_moved = Signal()
"""An issue has another place in the running order. Arguments: ``issue``."""

issue_archived = Signal()
"""An issue was archived or brought back. Arguments: ``issue``."""

reading_changed = Signal()
"""The notation, the aliases or the chart changed, so texts may read differently. Arguments: ``series``."""

scene_changed = Signal()
"""A scene's rule changed, so what its marks owe did too. Arguments: ``scene``, ``falls_elsewhere``
(whether what it is held to changed as well)."""
