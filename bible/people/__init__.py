"""Members, invitations, accounts and tokens."""
