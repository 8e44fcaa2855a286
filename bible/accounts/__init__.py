"""One's account: signing in, a second factor, where one is signed in, one's password."""
