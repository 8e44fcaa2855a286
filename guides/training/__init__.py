"""Teaching the finder and the reader: made pages in, weights out. Needs the extra ``training``; nothing else does."""
