"""Word that gets out: by e-mail to people, signed to other programs."""
