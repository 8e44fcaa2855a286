"""Subjects and parts merged, costumes and parts moved, marks re-assigned: one deed each, undone as one."""
