"""What a page consists of: paper, lines, writing, areas."""
