"""Pictures without Django: arrays in, arrays out."""
