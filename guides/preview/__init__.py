"""A guide as it would print, its plates, and areas that sink into their neighbours."""
