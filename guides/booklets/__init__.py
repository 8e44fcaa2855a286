"""The bible to take along: sheets, booklets, the pocket look-up."""
