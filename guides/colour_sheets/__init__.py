"""The bible to take along: a sheet a subject, the booklet of all, and the pocket look-up."""
