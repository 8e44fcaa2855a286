"""The tint that a part must carry: deciding, superseding, looking up."""
