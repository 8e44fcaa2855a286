"""Tables out: one writer for every list that can be taken along."""
